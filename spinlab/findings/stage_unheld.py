"""Stages that were never reached, passed over, touched for a moment, or let go too soon."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from spinlab.finding import Finding
from spinlab.findings.judge import chance_above, shared, state_of
from spinlab.machine.value import Plateau
from spinlab.phrase import listed, many, say
from spinlab.speed.track import SpeedTrack
from spinlab.stages import Stage

# Weights of rival causes, relative to 1 for the machine itself; common practice, no published
# source.  A profile's intermediate speeds are less sure to be the unit's than its top speed.
OTHER_TOP = 0.12
OTHER_PROGRAMME_SKIPPED = 1.0
DWELL_SIGMA_S = 0.5
# A stage counts as touched where the drum kept so near to it (within what the profile allows) for
# this long, though too briefly for a plateau to be measured.
TOUCHED_S = 0.8
# Chance left open, over and above the measurement, that a plateau was there and not seen.
UNSEEN = 0.03

NEXT_TOP = (
    "compare with the type plate and the unit's own service papers; then supply voltage under "
    "load, belt, motor and its control, drum turning freely by hand with the plug pulled"
)
NEXT_PAPERS = "compare with the unit's own service papers"


def touched(stage: Stage, plateau: Plateau, track: SpeedTrack) -> bool:
    """Whether the drum did come to the speed of a missed stage, if only for a moment."""
    if len(track.time_s) < 2:
        return False
    near = np.abs(np.nan_to_num(track.speed_rpm) - (stage.expected_rpm or 0.0))
    inside = track.known & (near <= plateau.allowed_departure_rpm)
    return float(inside.sum() * np.median(np.diff(track.time_s))) >= TOUCHED_S


def missed(expected: Sequence[Stage], weight: float) -> list[Finding]:
    """The stages at the end that were never reached, as one finding, and those passed over."""
    never = tail(expected)
    found = [_left_out(s, weight) for s in expected if s.outcome == "missed" and s not in never]
    if never:
        sign = weight * (1.0 - UNSEEN)
        probability, rivals = shared(
            sign, {"the programme of this unit asks for other speeds": OTHER_TOP}
        )
        names = [say("{expected:g}", expected=stage.expected_rpm) for stage in never]
        found.append(
            Finding(
                kind="stage",
                subject=many(
                    "{speeds} rpm stage never reached",
                    "{speeds} rpm stages never reached",
                    count=len(names),
                    speeds=listed(names),
                ),
                state=state_of(probability),
                probability=probability,
                evidence={
                    "missed_rpm": [stage.expected_rpm for stage in never],
                    "fastest_held_rpm": max(
                        (s.speed_rpm for s in expected if s.speed_rpm is not None), default=None
                    ),
                },
                rivals=rivals,
                next_step=NEXT_TOP,
                reason=never[0].reason,
            )
        )
    return found


def tail(expected: Sequence[Stage]) -> list[Stage]:
    """The missed stages above every other."""
    above: list[Stage] = []
    for stage in reversed(expected):
        if stage.outcome != "missed":
            break
        above.insert(0, stage)
    return above


def let_go(stage: Stage, plateau: Plateau, weight: float) -> Finding:
    """A stage that was come to and left before a plateau could be measured."""
    return _not_held(
        stage,
        say("{expected:g} rpm stage let go too soon", expected=stage.expected_rpm),
        "the programme of this unit holds it less long",
        numbers_of(stage, plateau),
        weight,
    )


def _left_out(stage: Stage, weight: float) -> Finding:
    """A stage below others that were reached."""
    return _not_held(
        stage,
        say("{expected:g} rpm stage left out", expected=stage.expected_rpm),
        "the programme of this unit has no such stage",
        numbers_of(stage),
        weight,
    )


def _not_held(
    stage: Stage, subject: str, other: str, evidence: dict[str, Any], weight: float
) -> Finding:
    """A stage that was not held, beside `other`, what the unit's programme may ask instead."""
    probability, rivals = shared(weight * (1.0 - UNSEEN), {other: OTHER_PROGRAMME_SKIPPED})
    return Finding(
        kind="stage",
        subject=subject,
        state=state_of(probability),
        probability=probability,
        evidence=evidence,
        rivals=rivals,
        next_step=NEXT_PAPERS,
        reason=stage.reason,
    )


def short(stage: Stage, plateau: Plateau | None) -> Finding | None:
    """A stage that was let go too soon, where its whole dwell was measured."""
    least = plateau.dwell_at_least_s if plateau is not None else None
    if least is None or stage.dwell_s is None or "Held for" not in stage.reason:
        return None
    probability, rivals = shared(
        1.0 - chance_above(stage.dwell_s, DWELL_SIGMA_S, least),
        {"the programme of this unit holds it less long": OTHER_PROGRAMME_SKIPPED},
    )
    return Finding(
        kind="stage",
        subject=say("{expected:g} rpm stage let go too soon", expected=stage.expected_rpm),
        state=state_of(probability),
        probability=probability,
        evidence=numbers_of(stage) | {"dwell_s": stage.dwell_s, "least_dwell_s": least},
        rivals=rivals,
        next_step=NEXT_PAPERS,
        reason=stage.reason,
    )


def numbers_of(stage: Stage, plateau: Plateau | None = None) -> dict[str, Any]:
    """What every finding on a stage carries of it."""
    return {
        "asked_rpm": stage.expected_rpm,
        "allowed_rpm": plateau.allowed_departure_rpm if plateau is not None else None,
        "speed_rpm": stage.speed_rpm,
        "standard_uncertainty_rpm": stage.standard_uncertainty_rpm,
        "deviation_percent": stage.deviation_percent,
        "start_s": stage.start_s,
        "end_s": stage.end_s,
    }
