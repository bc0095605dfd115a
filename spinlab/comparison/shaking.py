"""The first two orders of the shaking in two acceleration logs, plateau by plateau.

Acceleration is absolute, so amplitudes may be compared, as long as the phone lay in the same place:
what another place or another way of fixing would do, no log can tell.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import stats

from spinlab.analysis import Analysis
from spinlab.comparison.align import SAME_SPEED
from spinlab.comparison.statistics import DB_PER_NEPER, ERROR_RATE
from spinlab.comparison.value import AmplitudeChange
from spinlab.phrase import say
from spinlab.speed.track import Estimate
from spinlab.vibration.plateaus import PlateauLevel

# Standard deviation from take to take of one order's amplitude with the phone laid down anew in
# the same place, and of what an empty drum's own imbalance does from run to run: a tenth (common
# practice, no published source).
SAME_PLACE_DB = 0.8
# The same with the phone laid anywhere: lid, side and front differ by as much (common practice, no
# published source).
MOVED_DB = 5.0
# dB of amplitude per neper of amplitude.
_DB_PER_NEPER = 2.0 * DB_PER_NEPER


def amplitude_changes(
    first: Analysis, second: Analysis, *, take_db: float = SAME_PLACE_DB
) -> list[AmplitudeChange]:
    """Orders 1 and 2 on every plateau that the first log holds; nothing is claimed yet."""
    if first.vibration is None or second.vibration is None:
        return []
    return [_change(level, second.vibration.levels, take_db) for level in first.vibration.levels]


def _change(
    before: PlateauLevel, others: tuple[PlateauLevel, ...], take_db: float
) -> AmplitudeChange:
    speed = before.span.speed_rpm
    place = AmplitudeChange(order=before.order, speed_rpm=speed)
    near = [
        other
        for other in others
        if other.order == before.order and abs(other.span.speed_rpm - speed) <= SAME_SPEED * speed
    ]
    if not near:
        return replace(place, reason=say("the other log has no plateau at this speed"))
    after = min(near, key=lambda other: abs(other.span.speed_rpm - speed))
    missing = next((one.reason for one in (before, after) if one.total is None), "")
    if before.total is None or after.total is None:
        return replace(place, reason=missing or say("it could not be measured"))
    a, b = before.total.acceleration_m_s2_peak, after.total.acceleration_m_s2_peak
    return _measured(place, a, b, take_db)


def _measured(place: AmplitudeChange, a: Estimate, b: Estimate, take_db: float) -> AmplitudeChange:
    place = replace(place, first_m_s2=a, second_m_s2=b)
    if min(a.value / max(a.standard_uncertainty, 1e-12), 1e9) < 2.0 and (
        b.value < 2.0 * b.standard_uncertainty
    ):
        return replace(place, reason=say("it stands out of the noise in neither log"))
    low, high, change = bounds(a, b, confidence=1.0 - ERROR_RATE, take_db=take_db)
    spread = np.hypot(
        np.hypot(a.standard_uncertainty, b.standard_uncertainty), _take(a, b, take_db)
    )
    return replace(
        place,
        change_db=change,
        low_db=low,
        high_db=high,
        confidence=1.0 - ERROR_RATE,
        probability=float(2.0 * stats.norm.sf(abs(b.value - a.value) / max(spread, 1e-12))),
    )


def _take(a: Estimate, b: Estimate, take_db: float) -> float:
    """Standard deviation of the difference that two takes of an unchanged machine make."""
    share = take_db / _DB_PER_NEPER
    return float(share * np.hypot(a.value, b.value))


def bounds(
    a: Estimate, b: Estimate, *, confidence: float, take_db: float = SAME_PLACE_DB
) -> tuple[float | None, float | None, float | None]:
    """Lower bound, upper bound and change in dB; None where an amplitude may be nothing.

    Each amplitude's own interval is taken, and the take's; the logarithm of their ratio is
    bounded by the intervals' ends put together as root sum of squares (Newcombe's way with two
    intervals: Statistics in Medicine 17 (1998) 873-890).
    """
    reach = float(stats.norm.ppf(0.5 + 0.5 * confidence))
    take = reach * take_db * np.sqrt(2.0)

    def decibel(value: float) -> float:
        return _DB_PER_NEPER * float(np.log(value)) if value > 0 else -np.inf

    ends = []
    for one in (a, b):
        u = reach * one.standard_uncertainty
        middle = decibel(one.value)
        ends.append((middle, middle - decibel(one.value - u), decibel(one.value + u) - middle))
    (mid_a, down_a, up_a), (mid_b, down_b, up_b) = ends
    change = mid_b - mid_a
    low = change - float(np.sqrt(down_b**2 + up_a**2 + take**2))
    high = change + float(np.sqrt(up_b**2 + down_a**2 + take**2))
    return tuple(v if np.isfinite(v) else None for v in (low, high, change))  # type: ignore[return-value]
