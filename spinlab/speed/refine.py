"""Refinement: from grid cells to the accuracy that the recording allows.

Along the coarse path the family's lines are followed with longer frames, and in each frame the one
common correction of the rate that makes all of them fit best is found (the multi-order evidence
again, on a fine and narrow grid), smoothed by Viterbi; then each line's order is measured anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import Band
from spinlab.speed.evidence import Floats, line_evidence
from spinlab.speed.follow import Course, course_of, follow, standing
from spinlab.speed.places import at_orders

# Corrections tried, as shares of the rate, and how fast they may change from frame to frame.
REACH = 0.014
FINE_STEP = 0.0004
CHANGE_COST = 0.8
ROUNDS = 2
LINE_LIMIT = 300.0
# Frames that are followed at once, to bound the memory.
BLOCK_FRAMES = 32
# Nats of the family's lines that carry a frame, in all and as a share of the usual.
LEAST_GAIN = 4.0
# Nats with which one line is clearly heard in a frame.
CLEAR_LINE = 3.0
LEAST_GAIN_SHARE = 0.2


@dataclass(frozen=True, kw_only=True, eq=False)
class Refined:
    """A refined course: rate per frame with its standard uncertainty, and its lines.

    Attributes:
        time_s, log_hz, sigma: shape (frames,); sigma is the standard uncertainty of ln(rate).
        gain: shape (frames,), nats by which the fitted lines beat noise.
        heard: shape (frames,), how many of the lines are clearly heard.
        orders, order_sigma, strength: shape (lines,), orders relative to the rate, and the mean
            evidence of each line.
    """

    time_s: NDArray[np.float64]
    log_hz: NDArray[np.float64]
    sigma: NDArray[np.float64]
    gain: NDArray[np.float64]
    heard: NDArray[np.int64]
    orders: NDArray[np.float64]
    order_sigma: NDArray[np.float64]
    strength: NDArray[np.float64]

    @property
    def weight(self) -> NDArray[np.float64]:
        """How much each line counts beside a clear one, 0 to 1, shape (lines,)."""
        return np.clip(self.strength / 2.0, 0.0, 1.0)

    @property
    def course(self) -> Course:
        """The refined rate as a smooth course."""
        return course_of(self.time_s, self.log_hz)

    @property
    def carried(self) -> NDArray[np.bool_]:
        """Frames that the family's lines carry, shape (frames,)."""
        from scipy.ndimage import median_filter

        if not len(self.gain):
            return np.zeros(0, bool)
        least = max(LEAST_GAIN, LEAST_GAIN_SHARE * float(np.quantile(self.gain, 0.75)))
        lines: NDArray[np.bool_] = median_filter(self.gain, 3, mode="nearest") > least
        return lines


def without_lines(time_s: NDArray[np.float64], log_hz: NDArray[np.float64]) -> Refined:
    """A path without lines of its own: beats alone will correct it."""
    none = np.zeros(0)
    return Refined(
        time_s=time_s,
        log_hz=log_hz,
        sigma=np.full(len(time_s), 0.004),
        gain=np.zeros(len(time_s)),
        heard=np.zeros(len(time_s), np.int64),
        orders=none,
        order_sigma=none,
        strength=none,
    )


def refine(
    bands: tuple[Band, ...],
    start_s: float,
    time_s: NDArray[np.float64],
    log_hz: NDArray[np.float64],
    orders: NDArray[np.float64],
    *,
    steady_hz: NDArray[np.float64],
    reach: float = REACH,
    step: float = FINE_STEP,
    fixed_orders: bool = False,
) -> Refined:
    """Refine a course from its lines.

    Args:
        bands: tone bands of the recording.
        start_s: time of the first sample.
        time_s: shape (frames,), knots of the course, uniform.
        log_hz: shape (frames,), ln of the rate that the orders refer to.
        orders: shape (lines,).
        steady_hz: sorted frequencies of tones that stand still.
        reach, step: corrections tried, as shares of the rate.
        fixed_orders: the orders are known whole numbers and are not measured anew.
    """
    given = orders
    correction = np.arange(-reach, reach + step / 2, step)
    order_sigma = np.full(len(orders), np.inf)
    strength = np.zeros(len(orders))
    gain = np.zeros(len(time_s))
    sigma = np.full(len(time_s), 0.004)
    clear = np.zeros((len(orders), len(time_s)), bool)
    for _ in range(ROUNDS):
        course = course_of(time_s, log_hz)
        maps = line_maps(bands, start_s, course, time_s, orders, correction, steady_hz)
        total = maps.sum(axis=0)
        best = smooth_correction(total)
        log_hz = log_hz + correction[best]
        orders, order_sigma, strength = measure_orders(maps, best, orders, correction)
        if fixed_orders:
            orders = given
        gain = total[np.arange(len(best)), best]
        clear = maps[:, np.arange(len(best)), best] > CLEAR_LINE
        sigma = curvature_sigma(total, best, correction)
    return Refined(
        time_s=time_s,
        log_hz=log_hz,
        sigma=sigma,
        gain=gain,
        heard=clear.sum(axis=0),
        orders=orders,
        order_sigma=order_sigma,
        strength=strength,
    )


def line_maps(
    bands: tuple[Band, ...],
    start_s: float,
    course: Course,
    time_s: NDArray[np.float64],
    orders: NDArray[np.float64],
    correction: NDArray[np.float64],
    steady_hz: NDArray[np.float64],
) -> Floats:
    """Evidence of each line for each correction, shape (lines, frames, corrections)."""
    out = np.zeros((len(orders), len(time_s), len(correction)), np.float32)
    pitch = course.rate_hz(time_s) * orders[:, None]
    told = ~standing(pitch, steady_hz)
    for band in bands:
        use = told & (pitch >= band.low_hz) & (pitch < band.high_hz)
        for first in range(0, len(time_s), BLOCK_FRAMES):
            block = slice(first, first + BLOCK_FRAMES)
            if not use[:, block].any():
                continue
            (followed,) = follow(
                band.signal[None],
                band.rate_hz,
                start_s,
                course,
                time_s[block],
                frame_s=band.follow_s,
                highest_hz=band.high_hz * 1.03,
                floor_width_hz=40.0 / band.follow_s,
            )
            for row, frames, order in zip(out[:, block], use[:, block], orders, strict=True):
                if frames.any():
                    ratio = at_orders(followed, float(order) * np.exp(correction), frames)
                    row[frames] = line_evidence(
                        np.nan_to_num(ratio), prior=0.5, mean_snr=20.0, limit=LINE_LIMIT
                    )
    return out


def smooth_correction(total: Floats) -> NDArray[np.int64]:
    """The best correction per frame under a price on change (Viterbi over a narrow grid)."""
    frames, cells = total.shape
    value = total[0].astype(np.float64)
    came = np.zeros((frames, cells), np.int64)
    jump = CHANGE_COST * np.abs(np.arange(cells)[:, None] - np.arange(cells)[None, :])
    jump = np.minimum(jump, 8.0)
    for t in range(1, frames):
        options = value[None, :] - jump
        came[t] = np.argmax(options, axis=1)
        value = options[np.arange(cells), came[t]] + total[t]
    path = np.zeros(frames, np.int64)
    path[-1] = int(np.argmax(value))
    for t in range(frames - 1, 0, -1):
        path[t - 1] = came[t, path[t]]
    return path


def measure_orders(
    maps: Floats,
    best: NDArray[np.int64],
    orders: NDArray[np.float64],
    correction: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Each line's order anew: the shift against the common correction that explains it best."""
    frames = maps.shape[1]
    reach = len(correction) // 3
    shifts = np.arange(-reach, reach + 1)
    index = best[:, None] + shifts[None, :]
    inside = (index >= 0) & (index < maps.shape[2])
    index = np.clip(index, 0, maps.shape[2] - 1)
    step = correction[1] - correction[0]
    new, sigma, strength = orders.copy(), np.full(len(orders), np.inf), np.zeros(len(orders))
    for k in range(len(orders)):
        row = np.where(inside, maps[k][np.arange(frames)[:, None], index], 0.0).sum(axis=0)
        peak = int(np.argmax(row))
        used = int((maps[k] != 0).any(axis=1).sum())
        strength[k] = row[peak] / max(used, 1)
        if 0 < peak < len(row) - 1 and row[peak] > 0:
            bend = row[peak - 1] - 2 * row[peak] + row[peak + 1]
            slip = 0.5 * (row[peak - 1] - row[peak + 1]) / bend if bend < 0 else 0.0
            new[k] = orders[k] * np.exp((shifts[peak] + slip) * step)
            sigma[k] = step / np.sqrt(max(-bend, 1e-3))
    return new, sigma, strength


def curvature_sigma(
    total: Floats, best: NDArray[np.int64], correction: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Standard uncertainty of each frame's correction: spread of its likelihood about the peak."""
    likelihood = np.exp(np.clip(total - total.max(axis=1, keepdims=True), -50, 0))
    mean = (likelihood * correction).sum(axis=1) / likelihood.sum(axis=1)
    spread = (likelihood * (correction - mean[:, None]) ** 2).sum(axis=1) / likelihood.sum(axis=1)
    step = correction[1] - correction[0]
    return np.sqrt(spread + step**2 / 12)
