"""The pattern of drum orders: a clean first order, or many orders and half orders.

A part that is loose or knocks cuts the motion off once or every other turn, and its spectrum shows
a row of orders and half orders (common diagnostic practice, e.g. ISO 13373-3 annexes, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from spinlab.vibration.angular import angular_orders
from spinlab.vibration.tracking import OrderTrack, track_orders

WHOLE_ORDERS = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
HALF_ORDERS = (0.5, 1.5, 2.5, 3.5)
TURNS = 48.0
SIGNIFICANT_P = 1e-3
PLATEAU_RPM = 50.0  # windows within this belong to one plateau
SOUND_RATE_HZ = 800.0  # enough for order 6 at 1800 rpm


@dataclass(frozen=True, kw_only=True)
class OrderLevel:
    """One order's mean level over the plateaus.

    `level` is in m/s2 peak for an acceleration log; for sound it is relative to the largest order
    heard, because full scale means nothing there.
    """

    order: float
    level: float
    standard_uncertainty: float
    p_value: float


@dataclass(frozen=True, kw_only=True)
class OrderPattern:
    """Levels of whole and half orders.

    Attributes:
        levels: one for each order that could be measured.
        half_order_share: root sum square of the half orders over that of the whole ones.
        many_order_share: that of orders 3 and up over that of order 1 (acceleration only).
        forbidden: orders that could not be measured, with the reason.
        reason: why there is no pattern; "" otherwise.
    """

    levels: tuple[OrderLevel, ...] = ()
    half_order_share: float | None = None
    many_order_share: float | None = None
    forbidden: tuple[tuple[float, str], ...] = ()
    reason: str = ""

    def significant(self, orders: Sequence[float]) -> tuple[OrderLevel, ...]:
        """Those of `orders` that stand out of the noise at the 0.1 % level."""
        wanted = {round(order, 3) for order in orders}
        return tuple(
            entry
            for entry in self.levels
            if round(entry.order, 3) in wanted and entry.p_value < SIGNIFICANT_P
        )


def order_pattern(
    recording: Recording, track: SpeedTrack, *, others: Sequence[float] = ()
) -> OrderPattern:
    """Measure the whole and half orders over every plateau of the track.

    Args:
        recording: an acceleration log, or sound (used below 400 Hz).
        track: the drum's speed.
        others: orders known to be something else (belt, motor), fitted along so that they do not
            count as half orders.
    """
    known = [o for o in others if 0.2 < o < max(WHOLE_ORDERS) + 0.5]
    near = [o for o in (*WHOLE_ORDERS, *HALF_ORDERS) if any(abs(o - x) < 0.04 for x in known)]
    measured = [o for o in (*WHOLE_ORDERS, *HALF_ORDERS) if o not in near]
    if recording.kind == "acceleration":
        found = track_orders(recording, track, (*measured, *known), turns=TURNS)
    else:
        found = angular_orders(_low_part(recording), track, (*measured, *known), turns=TURNS)
    steady = _steady(found, track)
    if int(steady.sum()) < 3:
        return OrderPattern(reason="no plateau is long enough to tell orders from half orders")
    levels, forbidden = [], [(o, "belt or motor has an order there") for o in near]
    for order in measured:
        here = steady & found.usable(order)
        if int(here.sum()) < 3:
            why = found.trouble[found.index(order)][steady]
            forbidden.append((order, str(next((t for t in why if t), "too few windows"))))
            continue
        levels.append(_level(found, order, here))
    return _pattern(levels, forbidden, recording.kind)


def _steady(found: OrderTrack, track: SpeedTrack) -> NDArray[np.bool_]:
    """Windows that lie in a plateau."""
    if len(found.time_s) == 0:
        return np.zeros(0, dtype=bool)
    index = np.clip(np.searchsorted(track.time_s, found.time_s), 0, len(track.time_s) - 1)
    return np.asarray(track.motion[index] == "plateau")


def _level(found: OrderTrack, order: float, here: NDArray[np.bool_]) -> OrderLevel:
    """Mean level with the noise's power removed, and the chance of as much in noise."""
    k = found.index(order)
    a = np.abs(found.amplitude[k][:, here]) ** 2
    u = found.standard_uncertainty[k][:, here] ** 2
    independent = max(1.0, 2.0 * a.size / 3.0)
    groups = _by_speed(found.speed_rpm[here])
    # The middle plateau decides: a part that is loose shows at most speeds, a tone or a folded line
    # meets an order at one.
    chances = sorted(_chance(a[:, group], u[:, group]) for group in groups)
    p = chances[len(chances) // 2]
    axes_square = float(np.mean(np.sum(a, axis=0))) - 2.0 * float(np.mean(np.sum(u, axis=0)))
    level = float(np.sqrt(max(axes_square, 0.0)))
    noise = float(np.sqrt(np.mean(u) / max(independent / a.shape[0], 1.0)))
    scatter = float(np.std(np.sqrt(np.sum(a, axis=0)))) / np.sqrt(
        max(independent / a.shape[0], 1.0)
    )
    return OrderLevel(order=order, level=level, standard_uncertainty=max(noise, scatter), p_value=p)


def _by_speed(speed_rpm: NDArray[np.float64]) -> list[NDArray[np.bool_]]:
    """Windows of each plateau; all together where no plateau holds two."""
    bins = np.round(speed_rpm / PLATEAU_RPM)
    groups = [bins == b for b in np.unique(bins)]
    return [g for g in groups if g.sum() >= 2] or [np.ones(len(bins), dtype=bool)]


def _chance(square: NDArray[np.float64], noise: NDArray[np.float64]) -> float:
    """Chance of such a mean square without a line."""
    from scipy.stats import chi2
    from scipy.stats import f as f_law

    independent = max(1.0, 2.0 * square.size / 3.0)
    # Digital silence has neither line nor noise: a ratio of 0, not 0/0.
    ratio = float(np.mean(square / np.maximum(2.0 * noise, 1e-30)))
    # The noise beside is an estimate too, from some six probes in five windows: about 20 times
    # as many degrees of freedom would make it exact, so the F law is used, not chi-square.
    p = float(f_law.sf(ratio, 2.0 * independent, 6.0 * independent))
    return max(p, float(chi2.sf(ratio * 2.0 * independent, 2.0 * independent)))


def _pattern(
    levels: list[OrderLevel], forbidden: list[tuple[float, str]], kind: str
) -> OrderPattern:
    real = {e.order: e.level for e in levels if e.p_value < SIGNIFICANT_P}
    whole = float(np.sqrt(sum(v**2 for o, v in real.items() if o in WHOLE_ORDERS)))
    half = float(np.sqrt(sum(v**2 for o, v in real.items() if o in HALF_ORDERS)))
    many = float(np.sqrt(sum(v**2 for o, v in real.items() if o in WHOLE_ORDERS and o >= 3)))
    first = real.get(1.0, 0.0)
    if kind == "sound":
        top = max((e.level for e in levels), default=0.0) or 1.0
        levels = [
            OrderLevel(
                order=e.order,
                level=e.level / top,
                standard_uncertainty=e.standard_uncertainty / top,
                p_value=e.p_value,
            )
            for e in levels
        ]
    return OrderPattern(
        levels=tuple(levels),
        half_order_share=half / whole if whole > 0 else None,
        many_order_share=many / first if first > 0 and kind == "acceleration" else None,
        forbidden=tuple(forbidden),
    )


def _low_part(recording: Recording) -> Recording:
    """The sound below 400 Hz, channels averaged, at about 800 samples per second."""
    from dataclasses import replace

    from scipy.signal import resample_poly

    factor = max(1, round(recording.rate_hz / SOUND_RATE_HZ))
    mono = recording.samples.mean(axis=0)
    low = resample_poly(mono, 1, factor).astype(np.float32) if factor > 1 else mono
    return replace(
        recording,
        samples=np.ascontiguousarray(low[None, :]),
        rate_hz=recording.rate_hz / factor,
        channel_names=("low part",),
    )
