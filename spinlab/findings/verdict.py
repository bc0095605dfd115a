"""The verdict: one plain sentence about the unit, from stages, findings, track and quality.

The gravest finding decides: fault, then attention.  A finding that could not be measured takes
nothing from an otherwise sound result; a drum whose speed, or whose top stage, could not be
measured is "not measurable", never "clear".
"""

from __future__ import annotations

from collections.abc import Sequence

from spinlab.finding import Finding, State, Verdict
from spinlab.quality.value import Quality
from spinlab.speed.track import SpeedTrack
from spinlab.stages import StageTable

COVERAGE = 2.0  # GUM, JCGM 100:2008, 6.3
RIVAL_WORTH_SAYING = 0.1


def verdict(
    stages: StageTable, findings: Sequence[Finding], track: SpeedTrack, quality: Quality
) -> Verdict:
    """The sentence that stands first, and its state.

    Args:
        stages: the stage table.
        findings: every finding.
        track: the drum's speed.
        quality: what the recording is good for.
    """
    speed = _speed_sentence(stages, track, quality)
    for state in ("fault", "attention"):
        grave = _of(findings, state)
        if grave:
            return Verdict(state=state, sentence=_join(_named(grave), speed))
    if not _measured(stages, track, quality):
        return Verdict(state="not measurable", sentence=_sentence(speed))
    return Verdict(state="clear", sentence=_join(speed, "nothing else stands out"))


def _of(findings: Sequence[Finding], state: State) -> list[Finding]:
    """Findings of one state, the surest first."""
    chosen = [finding for finding in findings if finding.state == state]
    return sorted(chosen, key=lambda f: -(f.probability or 0.0))


def _named(grave: Sequence[Finding]) -> str:
    """The first finding in words, and how many more there are of its state."""
    first = grave[0]
    chance = f" (probability {100 * first.probability:.0f} %)" if first.probability else ""
    words = f"{first.subject}{chance}"
    if len(grave) == 2:
        words += f" and {grave[1].subject}"
    elif len(grave) > 2:
        words += f" and {len(grave) - 1} findings more"
    return words


def _measured(stages: StageTable, track: SpeedTrack, quality: Quality) -> bool:
    """Whether the speed, up to the programme's last stage, is known in rpm."""
    if not quality.usable or track.scale == "relative" or not track.known.any():
        return False
    expected = [stage for stage in stages.stages if stage.expected_rpm is not None]
    return not expected or expected[-1].outcome != "not measurable"


def _speed_sentence(stages: StageTable, track: SpeedTrack, quality: Quality) -> str:
    if not quality.usable:
        return quality.reason or "the recording cannot be used"
    if not track.known.any() or track.scale == "relative":
        why = track.reason or "nothing in the recording tells it"
        return f"the drum's speed could not be measured: {why}"
    expected = [stage for stage in stages.stages if stage.expected_rpm is not None]
    if not expected:
        return _without_programme(stages) + _rival(track)
    reached = sum(stage.outcome == "reached" for stage in expected)
    open_ = [stage for stage in expected if stage.outcome == "not measurable"]
    if open_ and open_[-1] is expected[-1]:
        rest = f": {expected[-1].reason}" if reached == 0 else ""
        return f"the top stage, {expected[-1].expected_rpm:g} rpm, could not be measured{rest}" + (
            f"; {reached} of {len(expected)} stages are reached" if reached else ""
        )
    words = "all" if reached == len(expected) else f"{reached} of"
    words += f" {len(expected)} stages are reached"
    if open_:
        words += f", {len(open_)} could not be measured"
    return words + _top(stages) + _rival(track)


def _without_programme(stages: StageTable) -> str:
    held = len(stages.stages)
    count = f"{held} speed{'' if held == 1 else 's'}" if held else "no speed"
    return f"the drum holds {count}{_top(stages)}; no profile was given to judge that by"


def _top(stages: StageTable) -> str:
    top, u = stages.top_speed_rpm, stages.top_speed_standard_uncertainty_rpm
    if top is None or u is None:
        return ""
    return f", top speed {top:.0f} ± {max(COVERAGE * u, 0.5):.0f} rpm"


def _rival(track: SpeedTrack) -> str:
    """The heaviest other reading of the speed, where it is worth saying."""
    others = [r for r in track.rivals if abs(r.ratio - 1.0) > 0.01]
    worst = max(others, key=lambda rival: rival.weight, default=None)
    if worst is None or worst.weight < RIVAL_WORTH_SAYING:
        return ""
    return f" (but {worst.ratio:.2g} times this speed has weight {100 * worst.weight:.0f} %)"


def _join(first: str, second: str) -> str:
    return _sentence(f"{first.rstrip('.')}; {second}")


def _sentence(words: str) -> str:
    words = words.strip().rstrip(".")
    return words[:1].upper() + words[1:] + "."
