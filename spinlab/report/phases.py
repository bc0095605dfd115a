"""The phases of a whole service test, as lines of text."""

from __future__ import annotations

from spinlab.phases.value import Phase, PhaseList
from spinlab.report.language import tell
from spinlab.report.words import chance, clock

# Phases that a recording of the spin alone does not hold.
_MORE_THAN_SPIN = ("fill", "pump", "wash motion")
_SURE_PHASE, _LONG_PHASE_S = 0.6, 3.0


def phase_lines(cut: PhaseList | None) -> tuple[str, ...]:
    """One line for each phase of a recording that holds more than the spin; else none."""
    if cut is None or not any(_is_sure(phase) for phase in cut.phases):
        return ()
    return tuple(
        f"{clock(phase.start_s)} – {clock(phase.end_s)}  {tell(phase.label)} "
        + (
            tell("(set by the user)")
            if phase.corrected
            else tell("({chance} sure)", chance=chance(phase.confidence))
        )
        for phase in cut.phases
        # A moment shorter than the clock shows is no phase to a reader.
        if clock(phase.start_s) != clock(phase.end_s)
    )


def _is_sure(phase: Phase) -> bool:
    """Whether a phase proves that more than the spin was recorded."""
    sure = phase.corrected or phase.confidence >= _SURE_PHASE
    return phase.label in _MORE_THAN_SPIN and sure and phase.duration_s >= _LONG_PHASE_S
