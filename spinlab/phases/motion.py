"""The wash motion: bursts on and off, and whether the drum goes both ways.

A direction cannot be heard as such.  Programmes alternate, so odd and even bursts are the two
directions; motor, belt and water sound a little different in each, and whether odd and even differ
more than any other split of the bursts is an exact permutation test (Fisher 1935).
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from spinlab.phases.features import FRAME_S, Features
from spinlab.phases.value import MotionPattern
from spinlab.speed.track import Estimate

LEAST_BURSTS = 3
BURST_S = (1.5, 40.0)
PAUSE_S = (0.8, 25.0)
MOST_ALIKE = 0.5  # spread of on times over their mean, beyond which it is no pattern
_MOST_SPLITS = 2000


def is_pattern(bursts: list[tuple[float, float]]) -> bool:
    """Whether bursts repeat as a wash motion does."""
    if len(bursts) < LEAST_BURSTS:
        return False
    on = np.array([end - start for start, end in bursts])
    off = np.array([b[0] - a[1] for a, b in itertools.pairwise(bursts)])
    lasts = (on >= BURST_S[0]) & (on <= BURST_S[1])
    rests = (off >= PAUSE_S[0]) & (off <= PAUSE_S[1])
    alike = float(np.std(on) / np.mean(on)) < MOST_ALIKE
    return bool(lasts.mean() > 0.7 and rests.mean() > 0.7 and alike)


def rhythm(bursts: list[tuple[float, float]]) -> float:
    """1 where bursts and their distances are all alike, 0 where they scatter as their mean.

    A pause between two blocks of motion does not count: distances are held to their median.
    """
    if len(bursts) < LEAST_BURSTS:
        return 0.0
    on = np.array([end - start for start, end in bursts])
    period = np.diff([start for start, _ in bursts])
    usual = float(np.median(period))
    apart = float(np.median(np.abs(period - usual))) / usual
    return float(np.clip(1.0 - np.std(on) / np.mean(on) - apart, 0.0, 1.0))


def motion_pattern(features: Features, bursts: list[tuple[float, float]]) -> MotionPattern:
    """Measure on and off times and the two directions of a row of bursts."""
    if len(bursts) < LEAST_BURSTS:
        return MotionPattern(reason="fewer than three bursts: no pattern can be told")
    starts = np.array([b[0] for b in bursts])
    ends = np.array([b[1] for b in bursts])
    on, off = ends - starts, starts[1:] - ends[:-1]
    period = np.diff(starts)
    # A pause between two blocks of motion is not part of the pattern.
    inside = period < 2.5 * np.median(period)
    scatter = float(np.std(period[inside]) / np.mean(period[inside])) if inside.any() else 1.0
    p = _alternation(features, bursts)
    directions, reason = _directions(on, off[inside], p)
    return MotionPattern(
        starts_s=tuple(starts.tolist()),
        ends_s=tuple(ends.tolist()),
        on_s=_mean(on),
        off_s=_mean(off[inside]) if inside.any() else None,
        regularity=float(np.clip(1.0 - scatter, 0.0, 1.0)),
        alternation_p=p,
        directions=directions,  # type: ignore[arg-type]
        first_on_s=_mean(on[::2]),
        second_on_s=_mean(on[1::2]),
        reason=reason,
    )


def _mean(values: NDArray[np.float64]) -> Estimate:
    """Mean with its standard uncertainty; each burst's edges are known to a frame."""
    edge = FRAME_S * np.sqrt(2.0 / 12.0)
    spread = float(values.std(ddof=1)) if len(values) > 1 else 0.0
    return Estimate(
        value=float(values.mean()),
        standard_uncertainty=float(np.hypot(spread, edge) / np.sqrt(len(values))),
    )


def _alternation(features: Features, bursts: list[tuple[float, float]]) -> float | None:
    """Permutation test of odd against even bursts on their mean band levels."""
    colours = []
    for start, end in bursts:
        inside = (features.time_s > start + FRAME_S) & (features.time_s < end - FRAME_S)
        if not inside.any():
            return None
        colours.append(features.band_db[:, inside].mean(axis=1))
    x = np.array(colours)
    count = len(x)
    if count < 6:
        return None  # with five bursts or fewer no split can be rarer than one in ten
    x = (
        x
        - np.polynomial.polynomial.polyval(
            np.arange(count), np.polynomial.polynomial.polyfit(np.arange(count), x, 1)
        ).T
    )
    x = x / np.maximum(x.std(axis=0), 0.2)
    half = (count + 1) // 2

    def gap(chosen: tuple[int, ...]) -> float:
        mask = np.zeros(count, dtype=bool)
        mask[list(chosen)] = True
        return float(np.sum((x[mask].mean(axis=0) - x[~mask].mean(axis=0)) ** 2))

    own = gap(tuple(range(0, count, 2)))
    splits = list(itertools.islice(itertools.combinations(range(count), half), 20000))
    step = max(1, len(splits) // _MOST_SPLITS)
    others = [gap(chosen) for chosen in splits[::step]]
    return float((1 + sum(g >= own - 1e-12 for g in others)) / (1 + len(others)))


def _directions(
    on: NDArray[np.float64], off: NDArray[np.float64], p: float | None
) -> tuple[str, str]:
    if p is not None and p < 0.05:
        return "both", ""
    if len(off) and float(np.median(off)) > 1.2 * float(np.median(on)):
        return "one", (
            "the pauses are longer than the motion, as if every other burst were missing, and the "
            "bursts do not alternate in sound"
        )
    return "not measurable", (
        "odd and even bursts do not differ enough in sound to tell two directions apart; watch the "
        "drum through the door"
    )
