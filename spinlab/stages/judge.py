"""A held speed against the one asked for: reached, late or off speed, and the sentence why."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinlab.machine.value import Plateau
from spinlab.phrase import join, say
from spinlab.speed.track import SpeedTrack
from spinlab.stages.course import Coast, SpinStart
from spinlab.stages.held import Held, hop_of
from spinlab.stages.value import Outcome, Retry, Stage

# Twice the standard uncertainty is stated as the interval (GUM, JCGM 100:2008, 6.3).
COVERAGE = 2.0
# Frames' edges and the stretch's settling leave the dwell uncertain by this.
DWELL_MARGIN_S = 0.6
# Frames that misread for this long do not end the time within the tolerance.
AWAY_S = 1.2


@dataclass(frozen=True, kw_only=True, eq=False)
class Context:
    """What every stage is judged from."""

    track: SpeedTrack
    held: tuple[Held, ...]
    start: SpinStart | None
    retries: tuple[Retry, ...]
    given_up: Retry | None
    coast: Coast | None


def spot(time_s: float) -> str:
    """A time as a player shows it.

    >>> spot(83.46)
    '1:23'
    """
    minutes, seconds = divmod(int(time_s), 60)
    return f"{minutes}:{seconds:02d}"


def held_stage(context: Context, plateau: Plateau, held: Held) -> Stage:
    """The stage of a plateau that was held, near the speed asked for or off it."""
    allowed = plateau.allowed_departure_rpm
    deviation = held.speed_rpm - plateau.rpm
    off = abs(deviation) > allowed
    first, last = _within(context.track, held, plateau.rpm, allowed)
    half = 0.5 * hop_of(context.track)
    arrived_s = float(context.track.time_s[first]) - half
    left_s = float(context.track.time_s[last - 1]) + half
    reached_after, at_least = _reached_after(context.start, arrived_s)
    limit = plateau.reach_within_s
    late = limit is not None and at_least is not None and at_least > limit
    outcome: Outcome = "off speed" if off else "late" if late else "reached"
    dwell = left_s - arrived_s
    sentences = [
        _off(held, plateau, deviation, allowed) if off else _near_limit(held, deviation, allowed),
        _late(at_least or 0.0, limit or 0.0, exact=reached_after is not None) if late else "",
        _short(held, plateau, dwell),
        "" if off or reached_after is not None else "When the spin began was not measured.",
    ]
    return Stage(
        expected_rpm=plateau.rpm,
        outcome=outcome,
        reason=join(" ", [sentence for sentence in sentences if sentence]),
        speed_rpm=held.speed_rpm,
        standard_uncertainty_rpm=held.standard_uncertainty_rpm,
        deviation_rpm=deviation,
        deviation_percent=100.0 * deviation / plateau.rpm,
        start_s=held.start_s,
        end_s=held.end_s,
        allowed_s=limit,
        reached_after_s=reached_after,
        climb_s=_climb(context.held, held, arrived_s),
        dwell_s=dwell,
        ripple_percent=held.ripple_percent,
        ripple_standard_uncertainty_percent=held.ripple_standard_uncertainty_percent,
        ripple_peak_to_peak_percent=held.ripple_peak_to_peak_percent,
        ripple_rate_hz=held.ripple_rate_hz,
        overshoot_percent=held.overshoot_percent,
        rise_rpm_per_s=held.rise_rpm_per_s,
    )


def _within(track: SpeedTrack, held: Held, rpm: float, allowed: float) -> tuple[int, int]:
    """The settled stretch, and what lies within the tolerance around it, brief lapses included."""
    first, last = held.first, held.last
    if abs(held.speed_rpm - rpm) > allowed:
        return first, last
    near = np.abs(np.nan_to_num(track.speed_rpm, nan=np.inf) - rpm) <= allowed
    reach = max(1, round(AWAY_S / hop_of(track)))
    while near[max(first - reach, 0) : first].any():
        first = max(first - reach, 0) + int(np.argmax(near[max(first - reach, 0) : first]))
    while near[last : last + reach].any():
        last += int(np.flatnonzero(near[last : last + reach])[-1]) + 1
    return first, last


def _reached_after(start: SpinStart | None, arrived_s: float) -> tuple[float | None, float | None]:
    """Time from the start of the spin, where that was seen, and the least that it can be."""
    if start is None or arrived_s < start.time_s:
        return None, None
    least = arrived_s - start.time_s
    return (least if start.seen else None), least


def _climb(all_held: tuple[Held, ...], held: Held, arrived_s: float) -> float | None:
    """Time from the end of the plateau before, where both ends of the climb were seen."""
    before = [other for other in all_held if other.end_s <= held.start_s]
    if held.cut_before or not before or before[-1].cut_after:
        return None
    return max(0.0, arrived_s - before[-1].end_s) if before[-1].speed_rpm < held.speed_rpm else None


def _off(held: Held, plateau: Plateau, deviation: float, allowed: float) -> str:
    interval = COVERAGE * held.standard_uncertainty_rpm
    side = "below" if deviation < 0 else "above"
    says = say(
        "Held {speed:.0f} rpm, {deviation:.0f} rpm {side} the asked "
        "{rpm:.0f} and outside the allowed {allowed:.0f} rpm.",
        speed=held.speed_rpm,
        deviation=abs(deviation),
        side=side,
        rpm=plateau.rpm,
        allowed=allowed,
    )
    unsure = abs(deviation) - interval <= allowed
    return says + (" The limit lies within the measurement's 95 % interval." if unsure else "")


def _near_limit(held: Held, deviation: float, allowed: float) -> str:
    if abs(deviation) + COVERAGE * held.standard_uncertainty_rpm <= allowed:
        return ""
    return "The tolerance's limit lies within the measurement's 95 % interval."


def _late(after_s: float, limit_s: float, *, exact: bool) -> str:
    least = "" if exact else "at least "
    return say(
        "Reached {least}{after:.0f} s after the start, where {limit:.0f} s is allowed.",
        least=least,
        after=after_s,
        limit=limit_s,
    )


def _short(held: Held, plateau: Plateau, dwell_s: float) -> str:
    least = plateau.dwell_at_least_s
    if least is None or dwell_s + DWELL_MARGIN_S >= least:
        return ""
    if held.cut_before or held.cut_after:
        return say("Only {dwell:.1f} s of it could be measured.", dwell=dwell_s)
    return say(
        "Held for {dwell:.1f} s, where at least {least:.0f} s is asked.", dwell=dwell_s, least=least
    )
