"""`stage_table`: the speed track held against the expected programme."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spinlab.machine.value import Machine, Plateau
from spinlab.phrase import sentence
from spinlab.speed.track import Indication, SpeedTrack
from spinlab.stages.course import coast_down, given_up_at_last, retries, spin_start, top_speed
from spinlab.stages.held import Held, held_speeds, without_doubtful
from spinlab.stages.judge import Context, held_stage
from spinlab.stages.match import match
from spinlab.stages.unheld import above_half_rate, unheld_stage
from spinlab.stages.value import Stage, StageTable

NO_PROFILE = "No machine profile was given, so nothing says which speeds to expect."
NOT_ASKED = "The programme asks for no such speed."
NO_SCALE = (
    "Only ratios of speeds are known: give a profile with the drum-to-motor ratio, or record with "
    "an accelerometer."
)
# Distribution, 40 to 110 rpm, is no plateau unless the programme asks for one there.
SLOW_PLATEAU_RPM = 115.0
SAME_AGAIN_SHARE = 0.03


def stage_table(
    track: SpeedTrack, machine: Machine | None = None, *, log_rate_hz: float | None = None
) -> StageTable:
    """Hold a speed track against the programme of the unit under test.

    Args:
        track: the drum's speed.
        machine: the unit under test; without it every plateau found is "extra".
        log_rate_hz: samples per second of an acceleration log; a plateau whose rate of turns lies
            above half of it folds onto another and cannot be measured.

    Returns:
        Every expected plateau with its outcome, extra plateaus between them, and the rest.
        "Missed" is said only where the track leaves no room in which the plateau could hide.

    Where the track's scale is relative no speed in rpm is given: found plateaus and all expected
    ones are "not measurable".
    """
    track = without_doubtful(track)
    programme = machine.programme if machine is not None else ()
    absolute = track.scale == "absolute"
    slowest = min((p.rpm for p in programme), default=np.inf)
    slow = 0.9 * slowest if slowest <= SLOW_PLATEAU_RPM else None
    held = held_speeds(track, slow_rpm=slow)
    if not absolute:
        return _relative(track, held, programme)
    context = Context(
        track=track,
        held=held,
        start=spin_start(track),
        retries=tuple(retries(track, held, last_asked=programme[-1].rpm if programme else None)),
        given_up=given_up_at_last(track, held),
        coast=coast_down(track),
    )
    stages = _stages(context, programme, profile=machine is not None, log_rate_hz=log_rate_hz)
    return _table(context, _with_indications(stages, track.indications))


def _stages(
    context: Context,
    programme: Sequence[Plateau],
    *,
    profile: bool,
    log_rate_hz: float | None,
) -> list[Stage]:
    within = [k for k, p in enumerate(programme) if not above_half_rate(p.rpm, log_rate_hz)]
    found = match(
        [programme[k].rpm for k in within],
        [held.speed_rpm for held in context.held],
        confidence=[held.confidence for held in context.held],
    )
    pairs = {within[k]: j for k, j in found.items()}
    stages = [
        held_stage(context, plateau, context.held[pairs[k]])
        if k in pairs
        else unheld_stage(context, programme, k, pairs, log_rate_hz=log_rate_hz)
        for k, plateau in enumerate(programme)
    ]
    for j, held in enumerate(context.held):
        if j not in pairs.values():
            earlier = [h for h in context.held[:j] if _same(h, held)]
            _insert(stages, _extra(held, _why_extra(profile, bool(earlier))))
    return stages


def _why_extra(profile: bool, again: bool) -> str:
    if not profile:
        return NO_PROFILE
    return "Held once more, after the drum had fallen back." if again else NOT_ASKED


def _same(one: Held, other: Held) -> bool:
    return abs(one.speed_rpm - other.speed_rpm) <= SAME_AGAIN_SHARE * one.speed_rpm


def _extra(held: Held, reason: str, *, absolute: bool = True) -> Stage:
    return Stage(
        expected_rpm=None,
        outcome="extra" if absolute else "not measurable",
        reason=reason,
        speed_rpm=held.speed_rpm if absolute else None,
        standard_uncertainty_rpm=held.standard_uncertainty_rpm if absolute else None,
        start_s=held.start_s,
        end_s=held.end_s,
        dwell_s=held.dwell_s,
        ripple_percent=held.ripple_percent,
        ripple_standard_uncertainty_percent=held.ripple_standard_uncertainty_percent,
        ripple_peak_to_peak_percent=held.ripple_peak_to_peak_percent,
        ripple_rate_hz=held.ripple_rate_hz,
        overshoot_percent=held.overshoot_percent,
        rise_rpm_per_s=held.rise_rpm_per_s if absolute else None,
    )


def _insert(stages: list[Stage], extra: Stage) -> None:
    """Put a stage before the first one that began later."""
    start = extra.start_s or 0.0
    later = (k for k, s in enumerate(stages) if s.start_s is not None and s.start_s > start)
    stages.insert(next(later, len(stages)), extra)


def _relative(track: SpeedTrack, held: Sequence[Held], programme: Sequence[Plateau]) -> StageTable:
    """The table of a track that knows no rpm: when levels were held, and what is indicated."""
    reason = sentence(track.reason or NO_SCALE)
    if programme:
        asked = [
            Stage(
                expected_rpm=plateau.rpm,
                outcome="not measurable",
                reason=reason,
                allowed_s=plateau.reach_within_s,
            )
            for plateau in programme
        ]
        return StageTable(stages=tuple(_with_indications(asked, track.indications)))
    if track.known.any():
        return StageTable(stages=tuple(_extra(level, reason, absolute=False) for level in held))
    unasked = Stage(expected_rpm=None, outcome="not measurable", reason=reason)
    return StageTable(stages=tuple(_indicated(unasked, one) for one in track.indications))


def _with_indications(stages: Sequence[Stage], shown: Sequence[Indication]) -> list[Stage]:
    """The stages, with what is indicated for those that were not measured, away from the others."""
    held = [(s.start_s, s.end_s) for s in stages if s.start_s is not None and s.end_s is not None]
    left = [one for one in shown if not any(_overlap(one, a, b) for a, b in held)]
    open_ = [
        k
        for k, stage in enumerate(stages)
        if stage.outcome == "not measurable" and stage.expected_rpm is not None
    ]
    pairs = match([stages[k].expected_rpm or 0.0 for k in open_], [one.speed_rpm for one in left])
    out = list(stages)
    for k, one in ((open_[i], left[j]) for i, j in pairs.items()):
        out[k] = _indicated(out[k], one)
    return out


def _overlap(one: Indication, start_s: float, end_s: float) -> bool:
    return one.start_s < end_s and one.end_s > start_s


def _indicated(stage: Stage, one: Indication) -> Stage:
    """A stage that was not measured, with what is known of it roughly."""
    return replace(
        stage,
        indicated_rpm=one.speed_rpm,
        indicated_standard_uncertainty_rpm=one.standard_uncertainty_rpm,
        start_s=one.start_s,
        end_s=one.end_s,
    )


def _table(context: Context, stages: Sequence[Stage]) -> StageTable:
    top = top_speed(context.track, context.held)
    coast, start = context.coast, context.start
    end_s = coast.end_s if coast is not None else None
    return StageTable(
        stages=tuple(stages),
        retries=context.retries,
        top_speed_rpm=top[0] if top else None,
        top_speed_standard_uncertainty_rpm=top[1] if top else None,
        spin_start_s=start.time_s if start and start.seen else None,
        coast_down_start_s=coast.start_s if coast else None,
        coast_down_s=coast.end_s - coast.start_s if coast else None,
        coast_down_from_rpm=coast.from_rpm if coast else None,
        coast_down_to_rpm=coast.to_rpm if coast else None,
        coast_down_rpm_per_s=coast.rpm_per_s if coast else None,
        total_s=end_s - start.time_s if start and start.seen and end_s is not None else None,
    )
