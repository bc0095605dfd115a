"""An expected plateau that no held speed answers: missed, or not measurable, and the sentence why.

"Missed" needs a track without a hole in which the plateau could hide, from before it to after it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from spinlab.machine.value import Plateau
from spinlab.phrase import clause, say
from spinlab.quality.aliasing import alias_of
from spinlab.speed.level import runs
from spinlab.stages.course import SURE_FRAME, usable
from spinlab.stages.held import hop_of
from spinlab.stages.judge import Context, spot
from spinlab.stages.value import Stage

# A hole in the track at least this long can hide a plateau; a shorter one cannot.
HIDES_S = 1.5
# Slow on both sides of it, a hole up to this long hides no plateau far above: a ramp and back
# takes longer.
HARMLESS_HOLE_S, FAR_BELOW_SHARE = 5.0, 0.6
# Below this share of the speed asked for the drum is still on its way to it.
ON_THE_WAY_SHARE = 0.93
EDGE_S = 1.5
# Time near the speed asked for that is no mere passage, unless the speed climbs through it.
LINGERS_S = 2.0
OVER_SHARE = 0.5  # a spin is over once the drum is slower than this share of its fastest


@dataclass(frozen=True, kw_only=True)
class Search:
    """Frames in which the plateau would have to be, or why they cannot be told."""

    first: int = 0
    last: int = 0
    reason: str = ""


def above_half_rate(rpm: float, log_rate_hz: float | None) -> bool:
    """Whether a log's rate is too low for a drum speed (Shannon 1949)."""
    return log_rate_hz is not None and rpm / 60.0 >= 0.5 * log_rate_hz


def unheld_stage(
    context: Context,
    programme: Sequence[Plateau],
    number: int,
    pairs: Mapping[int, int],
    *,
    log_rate_hz: float | None,
) -> Stage:
    """The stage of plateau `number`, which no held speed answers.

    Args:
        context: what every stage is judged from.
        programme: all expected plateaus.
        number: which of them.
        pairs: index of the held speed that answers each expected one.
        log_rate_hz: samples per second of an acceleration log, else None.
    """
    plateau = programme[number]
    if log_rate_hz is not None and above_half_rate(plateau.rpm, log_rate_hz):
        return _unmeasured(plateau, _folds(plateau.rpm, log_rate_hz))
    if not (usable(context.track) & context.track.known).any():
        why = context.track.reason or "nothing in the recording tells it"
        words = say("The drum's speed could not be measured: {why}.", why=clause(why))
        return _unmeasured(plateau, words)
    before = max((pairs[k] for k in pairs if k < number), default=None)
    after = min((pairs[k] for k in pairs if k > number), default=None)
    search = _search(context, plateau.rpm, before, after)
    reason = (
        search.reason
        or _hole(context, plateau.rpm, search)
        or _doubt(context, search)
        or _lingers(context, plateau, search)
    )
    if reason:
        return _unmeasured(plateau, reason)
    return Stage(
        expected_rpm=plateau.rpm,
        outcome="missed",
        reason=_how_missed(context, plateau.rpm, search, passed=after is not None),
        allowed_s=plateau.reach_within_s,
    )


def _unmeasured(plateau: Plateau, reason: str) -> Stage:
    return Stage(
        expected_rpm=plateau.rpm,
        outcome="not measurable",
        reason=reason,
        allowed_s=plateau.reach_within_s,
    )


def _folds(rpm: float, log_rate_hz: float) -> str:
    seen_hz = alias_of(rpm / 60.0, log_rate_hz)
    return say(
        "{rpm:.0f} rpm is {rpm2:.1f} turns per second, not below half the "
        "log's {log_rate:.0f} readings per second: it would appear at "
        "{seen:.1f} Hz, where {seen2:.0f} rpm is. Record at {rpm3:.0f} "
        "readings per second or more, or record the sound.",
        rpm=rpm,
        rpm2=rpm / 60.0,
        log_rate=log_rate_hz,
        seen=seen_hz,
        seen2=60.0 * seen_hz,
        rpm3=np.ceil(5.0 * rpm / 60.0 / 10.0) * 10.0,
    )


def _search(context: Context, rpm: float, before: int | None, after: int | None) -> Search:
    first = context.held[before].last if before is not None else 0
    last = context.held[after].first if after is not None else len(context.track.time_s)
    if before is None:
        begun = _beginning(context, rpm, last)
        if begun.reason:
            return begun
        first = begun.first
    if after is None:
        ended = _ending(context, first)
        if ended.reason:
            return ended
        last = ended.last
    return Search(first=first, last=max(first, last))


def _beginning(context: Context, rpm: float, last: int) -> Search:
    """From the first frame known, if the drum was still on its way to the plateau then."""
    track = context.track
    known = np.flatnonzero(usable(track))
    first = int(known[0])
    if first < last and track.speed_rpm[first] < ON_THE_WAY_SHARE * rpm:
        return Search(first=first)
    time_s, speed = float(track.time_s[first]), float(track.speed_rpm[first])
    if time_s - float(track.time_s[0]) < EDGE_S:
        return Search(
            reason=say(
                "The recording starts with the drum already at {speed:.0f} rpm: "
                "start it before the drum turns.",
                speed=speed,
            )
        )
    return Search(
        reason=say(
            "The drum's speed could not be measured before {time}, where it is {speed:.0f} rpm.",
            time=spot(time_s),
            speed=speed,
        )
    )


def _ending(context: Context, first: int) -> Search:
    """To where the drum was let go, or had become slow for good; else why that is not known."""
    track = context.track
    known = np.flatnonzero(usable(track))
    final = int(known[-1])
    if context.coast is not None:
        start = int(np.searchsorted(track.time_s, context.coast.start_s))
        end = int(np.searchsorted(track.time_s, context.coast.end_s))
        later = known[known > end]
        if start >= first and not (track.speed_rpm[later] > context.coast.from_rpm).any():
            return Search(last=start)
    time_s, speed = float(track.time_s[final]), float(track.speed_rpm[final])
    if speed < OVER_SHARE * float(np.max(track.speed_rpm[known])):
        return Search(last=final)
    if float(track.time_s[-1]) - time_s < EDGE_S:
        return Search(
            reason=say(
                "The recording ends at {time}, with the drum at {speed:.0f} rpm: "
                "record to standstill.",
                time=spot(time_s),
                speed=speed,
            )
        )
    return Search(
        reason=say(
            "The drum's speed could not be measured after {time}, where it is {speed:.0f} rpm.",
            time=spot(time_s),
            speed=speed,
        )
    )


def _hole(context: Context, rpm: float, search: Search) -> str:
    """Why the track leaves room in which the plateau could hide; empty if it does not."""
    track, hop_s = context.track, hop_of(context.track)
    known = usable(track)
    for a, b in runs(~known[search.first : search.last]):
        first, last = search.first + a, search.first + b
        length_s = (last - first) * hop_s
        if length_s < HIDES_S:
            continue
        beside = [track.speed_rpm[k] for k in (first - 1, last) if 0 <= k < len(known)]
        slow = np.nanmax(beside) < FAR_BELOW_SHARE * rpm if np.isfinite(beside).any() else False
        if not (slow and length_s <= HARMLESS_HOLE_S):
            start, end = float(track.time_s[first]), float(track.time_s[last - 1])
            return say(
                "The drum's speed could not be measured from {start} to {end}, where "
                "this stage may have been.",
                start=spot(start),
                end=spot(end),
            )
    return ""


def _doubt(context: Context, search: Search) -> str:
    inside = slice(search.first, search.last)
    known = usable(context.track)[inside]
    if not known.any() or float(np.mean(context.track.confidence[inside][known])) >= SURE_FRAME:
        return ""
    return say(
        "From {time} on the drum's speed is too uncertain to say that this stage was left out.",
        time=spot(float(context.track.time_s[search.first])),
    )


def _lingers(context: Context, plateau: Plateau, search: Search) -> str:
    """Why a speed that stays near the one asked for proves no miss, though nothing was held."""
    track = context.track
    inside = np.arange(search.first, search.last)
    inside = inside[usable(track)[search.first : search.last]]
    allowed = plateau.allowed_departure_rpm
    near = inside[np.abs(track.speed_rpm[inside] - plateau.rpm) <= allowed]
    if len(near) < 2 or len(near) * hop_of(track) < LINGERS_S:
        return ""
    half = len(near) // 2
    early, late = track.speed_rpm[near[:half]], track.speed_rpm[near[half:]]
    # Passing through, the speed climbs by half the band from one half of the time to the other.
    if abs(float(np.median(late)) - float(np.median(early))) > 0.5 * allowed:
        return ""
    return say(
        "The drum was near {rpm:.0f} rpm for some {near:.0f} s from {time} "
        "on, but its speed reads too unsteadily to say that it was held.",
        rpm=plateau.rpm,
        near=len(near) * hop_of(track),
        time=spot(float(track.time_s[near[0]])),
    )


def _how_missed(context: Context, rpm: float, search: Search, *, passed: bool) -> str:
    track = context.track
    inside = np.arange(search.first, search.last)
    inside = inside[usable(track)[search.first : search.last]]
    gone = [*context.retries, *([context.given_up] if context.given_up else [])]
    start = float(track.time_s[search.first])
    tried = [r for r in gone if start <= r.time_s and r.speed_rpm < 1.03 * rpm]
    if passed:
        above = inside[track.speed_rpm[inside] >= rpm]
        at = say(" at {time}", time=spot(float(track.time_s[above[0]]))) if len(above) else ""
        return say("The drum went through {rpm:.0f} rpm{at} without holding it.", rpm=rpm, at=at)
    if tried:
        last = max(tried, key=lambda r: r.speed_rpm)
        return say(
            "The ramp to it was given up at {speed:.0f} rpm ({time}).",
            speed=last.speed_rpm,
            time=spot(last.time_s),
        )
    fastest = max((h.speed_rpm for h in context.held), default=None)
    if fastest is None:
        top = float(np.max(track.speed_rpm[usable(track)]))
        return say("The drum held no speed; it went up to {top:.0f} rpm.", top=top)
    return say("The fastest speed held was {fastest:.0f} rpm.", fastest=fastest)
