"""The wash motion: bursts on and off, and whether the drum goes both ways.

A direction cannot be heard as such.  Programmes alternate, so odd and even bursts are the two
directions; motor, belt and water sound a little different in each, and whether odd and even differ
more than any other split of the bursts is an exact permutation test (Fisher 1935).
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from spinlab.phases.features import FRAME_S, Features
from spinlab.phases.pace import EDGE_S, pace, ratio
from spinlab.phases.pace import LEAST_BURSTS as LEAST_PACED
from spinlab.phases.value import MotionPattern
from spinlab.speed.track import Estimate, SpeedTrack
from spinlab.vibration.loudness import Loudness

LEAST_BURSTS = 3
BURST_S = (1.5, 40.0)
PAUSE_S = (0.8, 25.0)
# A drum takes about so long to gain its speed and to lose it, and is heard from somewhere on that
# way on; common practice, no published source.
FLANK_S = 1.5
# From where on the drum is heard where the flank itself was looked for: rectangular half-width that
# gives the departures found in simulated bursts, tuning seeds (root mean square 0.35 s of a mean).
SHARP_FLANK_S = 0.8
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


def motion_pattern(
    features: Features,
    bursts: list[tuple[float, float]],
    *,
    sound: Loudness | None = None,
    track: SpeedTrack | None = None,
) -> MotionPattern:
    """Measure on and off times, speeds and the two directions of a row of bursts.

    Args:
        features: of the whole recording.
        bursts: start and end of each, s, from flank to flank where the sound is given.
        sound: band powers, in which the drum's pace is looked for.
        track: the drum's speed, where it is known.
    """
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
    paces = (None, None) if sound is None else (pace(sound, bursts[::2]), pace(sound, bursts[1::2]))
    speeds = (_speed(track, bursts[::2]), _speed(track, bursts[1::2]))
    odd = np.arange(len(off)) % 2 == 0
    flank_s = float(np.hypot(FRAME_S, FLANK_S)) if sound is None else SHARP_FLANK_S
    return MotionPattern(
        starts_s=tuple(starts.tolist()),
        ends_s=tuple(ends.tolist()),
        on_s=_mean(on, flank_s),
        off_s=_mean(off[inside], flank_s) if inside.any() else None,
        regularity=float(np.clip(1.0 - scatter, 0.0, 1.0)),
        alternation_p=p,
        directions=directions,  # type: ignore[arg-type]
        first_on_s=_mean(on[::2], flank_s),
        second_on_s=_mean(on[1::2], flank_s),
        first_off_s=_mean(off[inside & odd], flank_s) if (inside & odd).any() else None,
        second_off_s=_mean(off[inside & ~odd], flank_s) if (inside & ~odd).any() else None,
        first_pace_hz=paces[0],
        second_pace_hz=paces[1],
        first_speed_rpm=speeds[0],
        second_speed_rpm=speeds[1],
        second_over_first_speed=ratio(*speeds) or ratio(*paces),
        reason=reason,
    )


def _speed(track: SpeedTrack | None, bursts: list[tuple[float, float]]) -> Estimate | None:
    """Mean speed within bursts, their flanks left out; None where it is known in fewer than two."""
    if track is None or track.scale == "relative":
        return None
    means, known = [], np.isfinite(track.speed_rpm) & (track.motion != "rest")
    for start, end in bursts:
        inside = known & (track.time_s > start + EDGE_S) & (track.time_s < end - EDGE_S)
        if inside.sum() >= 5:
            u = float(np.mean(track.standard_uncertainty_rpm[inside]))
            means.append((float(np.mean(track.speed_rpm[inside])), u))
    if len(means) < LEAST_PACED:
        return None
    value, u = np.array(means).T
    spread = float(value.std(ddof=1) / np.sqrt(len(value)))
    return Estimate(
        value=float(value.mean()), standard_uncertainty=float(np.hypot(spread, u.mean()))
    )


def _mean(values: NDArray[np.float64], flank_s: float) -> Estimate:
    """Mean with its standard uncertainty; from which speed on the drum is heard is alike in all."""
    edge = flank_s * np.sqrt(2.0 / 12.0)
    spread = float(values.std(ddof=1)) if len(values) > 1 else 0.0
    return Estimate(
        value=float(values.mean()),
        standard_uncertainty=float(np.hypot(spread / np.sqrt(len(values)), edge)),
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
    others = [gap(chosen) for chosen in _splits(count, half)]
    return float((1 + sum(g >= own - 1e-12 for g in others)) / (1 + len(others)))


def _splits(count: int, half: int) -> list[tuple[int, ...]]:
    """All ways to choose half of the bursts, or as many drawn at random where they are too many."""
    if math.comb(count, half) <= _MOST_SPLITS:
        return list(itertools.combinations(range(count), half))
    rng = np.random.default_rng(count)
    return [tuple(rng.permutation(count)[:half].tolist()) for _ in range(_MOST_SPLITS)]


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
