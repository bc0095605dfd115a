"""Stages that were missed, came late, were off their speed or were let go too soon.

Ramps given up and a speed that hunts are statements of their own (`oscillation`); stages that could
not be measured stand in the stage table and are no finding.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from spinlab.finding import Finding
from spinlab.findings.judge import chance_above, shared, state_of
from spinlab.findings.stage_ratio import top_against_others
from spinlab.findings.stage_unheld import (
    NEXT_TOP,
    OTHER_TOP,
    let_go,
    missed,
    numbers_of,
    short,
    tail,
    touched,
)
from spinlab.machine.value import Machine, Plateau
from spinlab.phrase import many, say
from spinlab.speed.track import SpeedTrack
from spinlab.stages import Stage, StageTable

# Weights of rival causes, relative to 1 for the machine itself; common practice, no published
# source.  A profile's intermediate speeds are less sure to be the unit's than its top speed.
OTHER_PROGRAMME = 0.45
SCALE_OFF = 1.0
# Stages that are all off by one factor, to within this, speak for a wrong scale or profile.
SAME_FACTOR_SHARE, LEAST_SAME_FACTOR = 0.006, 3
# Frame edges, and what "the start of the spin" leaves open, in a stage's arrival (1 sigma).
ARRIVAL_SIGMA_S = 2.0

NEXT_OFF = (
    "compare with the unit's own service papers; then tacho or position sensor, belt and pulleys"
)
NEXT_LATE = "drum empty and drained? turns freely by hand with the plug pulled? then the motor"


def findings(
    stages: StageTable, track: SpeedTrack, machine: Machine | None = None
) -> tuple[Finding, ...]:
    """What the stage table proves; nothing without a profile.

    Args:
        stages: the table.
        track: where it came from, for the weight of its reading.
        machine: the profile that it was held against.
    """
    expected = [stage for stage in stages.stages if stage.expected_rpm is not None]
    if machine is None or not expected:
        return ()
    asked = {plateau.rpm: plateau for plateau in machine.programme}
    weight = reading_weight(track)
    factor = _same_factor(expected)
    top = expected[-1]
    brief = [s for s in tail(expected) if touched(s, asked[s.expected_rpm or 0.0], track)]
    found = missed([s for s in expected if s not in brief], weight)
    found += [let_go(stage, asked[stage.expected_rpm or 0.0], weight) for stage in brief]
    for stage in expected:
        if stage.outcome == "off speed":
            plateau = asked[stage.expected_rpm or 0.0]
            found.append(_off_speed(stage, plateau, weight, factor, at_top=stage is top))
        elif stage.outcome == "late":
            found.append(_late(stage))
        left = short(stage, asked.get(stage.expected_rpm or 0.0))
        if left is not None:
            found.append(left)
    found += top_against_others(expected, asked[top.expected_rpm or 0.0])
    if not found and any(stage.outcome == "reached" for stage in expected):
        found.append(_kept(expected, stages))
    return tuple(found)


def reading_weight(track: SpeedTrack) -> float:
    """Weight of the reading that the track reports, among its rivals."""
    own = [rival.weight for rival in track.rivals if abs(rival.ratio - 1.0) < 0.01]
    others = sum(rival.weight for rival in track.rivals if abs(rival.ratio - 1.0) >= 0.01)
    return own[0] if own else max(0.0, 1.0 - others)


def _off_speed(
    stage: Stage, plateau: Plateau, weight: float, factor: float | None, *, at_top: bool
) -> Finding:
    deviation, u = abs(stage.deviation_rpm or 0.0), stage.standard_uncertainty_rpm or 0.0
    sign = weight * chance_above(deviation, u, plateau.allowed_departure_rpm)
    rivals = {
        "the programme of this unit asks for another speed": OTHER_TOP
        if at_top
        else OTHER_PROGRAMME
    }
    evidence = numbers_of(stage, plateau)
    if factor is not None:
        rivals["the profile's ratio, or the reading of this recording, is off"] = SCALE_OFF
        evidence["common_factor"] = factor
    probability, causes = shared(sign, rivals)
    return Finding(
        kind="stage",
        subject=say("{expected:g} rpm stage off speed", expected=stage.expected_rpm),
        state=state_of(probability),
        probability=probability,
        evidence=evidence,
        rivals=causes,
        next_step=NEXT_TOP if at_top and (stage.deviation_rpm or 0.0) < 0 else NEXT_OFF,
        reason=stage.reason,
    )


def _same_factor(expected: Sequence[Stage]) -> float | None:
    """The one factor by which all measured stages are off, if there is one."""
    ratios = [
        stage.speed_rpm / stage.expected_rpm
        for stage in expected
        if stage.speed_rpm is not None and stage.expected_rpm
    ]
    off = [stage for stage in expected if stage.outcome == "off speed"]
    if len(ratios) < LEAST_SAME_FACTOR or len(off) < LEAST_SAME_FACTOR:
        return None
    middle = float(np.median(ratios))
    alike = all(abs(ratio / middle - 1.0) <= SAME_FACTOR_SHARE for ratio in ratios)
    return middle if alike else None


def _late(stage: Stage) -> Finding:
    evidence = numbers_of(stage) | {
        "reached_after_s": stage.reached_after_s,
        "allowed_s": stage.allowed_s,
    }
    sign = 0.95
    if stage.reached_after_s is not None and stage.allowed_s is not None:
        sign = chance_above(stage.reached_after_s, ARRIVAL_SIGMA_S, stage.allowed_s)
    probability, rivals = shared(
        sign,
        {
            "repeated distribution because of a load or water in the drum": 0.3,
            "the programme of this unit takes longer": OTHER_PROGRAMME,
        },
    )
    return Finding(
        kind="stage",
        subject=say("{expected:g} rpm stage late", expected=stage.expected_rpm),
        state="attention" if state_of(probability) == "fault" else state_of(probability),
        probability=probability,
        evidence=evidence,
        rivals=rivals,
        next_step=NEXT_LATE,
        reason=stage.reason,
    )


def _kept(expected: Sequence[Stage], stages: StageTable) -> Finding:
    reached = [stage for stage in expected if stage.outcome == "reached"]
    whole = len(reached) == len(expected)
    return Finding(
        kind="stage",
        subject="speed stages",
        state="clear",
        probability=0.02,
        evidence={
            "reached": len(reached),
            "expected": len(expected),
            "largest_deviation_percent": max(
                (abs(s.deviation_percent) for s in reached if s.deviation_percent is not None),
                default=None,
            ),
            "top_speed_rpm": stages.top_speed_rpm,
        },
        reason=(
            say("All {expected} stages were reached at their speed.", expected=len(expected))
            if whole
            else many(
                "The one stage of {expected} that could be measured was reached at its speed.",
                "The {count} stages of {expected} that could be measured were reached at their "
                "speed.",
                count=len(reached),
                expected=len(expected),
            )
        ),
    )
