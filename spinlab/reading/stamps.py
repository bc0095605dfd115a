"""The stamps of a log against the sensor's own clock.

A phone's sensor samples evenly; what is uneven is mostly the moment at which the software looked
at its watch.  Whether the stamps scatter around an even clock or are themselves the truth is told
by the variance ratio (Lo and MacKinlay 1988): over many samples, errors of reading average out,
while true irregular steps add up as in a random walk.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# A step this many times the usual one may hide lost samples; up to there it is jitter.
_LOSS_STEPS = 1.5
# A pause has this many usual steps, however much the steps scatter.
_PAUSE_STEPS = 10.0
# With stamps that scatter more than this share of a step, single losses cannot be told.
_LOSS_SCATTER = 0.15
# Fewer long steps than this are losses, whatever their distances.
_FEWEST_LONG = 5
# More losses than this share of the rows are no losses but a rate that changes.
_MOST_LOST = 0.2
# Over so many samples the variance ratio is taken, and below this ratio the clock is even.
_RATIO_SPAN = 64
_EVEN_RATIO = 0.25
# The even clock may drift: residuals averaged over this long follow it.
_DRIFT_WINDOW_S = 20.0
# Drift below this share of a step cannot be told from none, and is left alone.
_DRIFT_SHARE = 0.1
# Nor is drift what scatter alone would leave in an average, with this many standard errors.
_DRIFT_SIGMAS = 8.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Clock:
    """Where each row lies in time.

    Attributes:
        time_s: shape (n,), instants that the rows are taken to have.
        index: shape (n,), position among all samples, lost ones counted in.
        rate_hz: samples per second over the whole log, pauses and losses accounted for.
        even: True where the sensor's clock is even and the stamps only scatter around it.
        straight: True where that clock does not even drift, so `time_s` lies on a grid.
        median_step_s, jitter_s: of the stamps, pauses left out of the jitter.
    """

    time_s: NDArray[np.float64]
    index: NDArray[np.int64]
    rate_hz: float
    even: bool
    straight: bool
    median_step_s: float
    jitter_s: float


def fit_clock(stamps_s: NDArray[np.float64]) -> Clock:
    """The clock behind rising (not strictly) stamps, shape (n,), n >= 16."""
    steps = np.diff(stamps_s)
    step = usual_step(stamps_s)
    lost = np.zeros(len(steps), dtype=np.int64)
    slope, start = step, 0.0
    for _ in range(2):
        lost = _lost_after(stamps_s, slope)
        slope, start = _line(_index(lost), stamps_s)
    index = _index(lost)
    ordinary = lost == 0
    even = _variance_ratio(stamps_s - slope * index, ordinary) < _EVEN_RATIO
    line = start + slope * index
    drift = _drift(stamps_s - line, slope) if even else np.zeros_like(stamps_s)
    return Clock(
        time_s=line + drift if even else stamps_s,
        index=index,
        rate_hz=1 / slope,
        even=even,
        straight=even and not drift.any(),
        median_step_s=float(np.median(steps)),
        jitter_s=float(np.std(steps[ordinary])),
    )


def usual_step(stamps_s: NDArray[np.float64]) -> float:
    """Mean of the steps but for pauses: a median would keep the rounding of the stamps."""
    steps = np.diff(stamps_s)
    return float(steps[steps <= _shortest_pause(steps)].mean())


def _shortest_pause(steps: NDArray[np.float64]) -> float:
    """Length from which on a step is a pause; the steps between batches are none."""
    return _PAUSE_STEPS * float(np.median(steps[steps > 0]))


def _index(lost: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.concatenate([[0], np.cumsum(1 + lost)])


def _lost_after(stamps_s: NDArray[np.float64], step: float) -> NDArray[np.int64]:
    """Samples lost after each row: what a long step holds that its neighbours do not make good.

    A row that merely came late is followed by a short step, one that came early preceded by one;
    so the least that any stretch around the step says is lost, is.  Where the stamps scatter too
    much for that only pauses count, by the median of what the stretches say.
    """
    steps = np.diff(stamps_s)
    pause = _shortest_pause(steps)
    ordinary = steps[steps < _LOSS_STEPS * step]
    scatter = np.sqrt(np.mean((ordinary - step) ** 2) / 2) if len(ordinary) else 0.0
    blurred = bool(scatter > _LOSS_SCATTER * step) or _coarse(stamps_s, step)
    lost = np.zeros(len(steps), dtype=np.int64)
    reach = 7 if blurred else 2
    for k in map(int, np.flatnonzero(steps > (pause if blurred else _LOSS_STEPS * step))):
        before = np.arange(max(0, k - reach), k + 1)
        after = np.arange(k + 1, min(len(stamps_s), k + 2 + reach))
        span = stamps_s[after][None, :] - stamps_s[before][:, None]
        missing = span / step - (after[None, :] - before[:, None])
        lost[k] = max(0, round(float(np.median(missing) if blurred else np.min(missing))))
    if np.sum(lost > 0) > _MOST_LOST * len(lost):
        lost[steps <= pause] = 0
    return lost


def _coarse(stamps_s: NDArray[np.float64], step: float) -> bool:
    """Whether the stamps are rounded to about a step, so that a long one need hide no loss.

    Rounding makes long steps at even distances, while losses come at random (then the distances'
    standard deviation is about their mean); and rounded stamps stay near an even clock all along.
    """
    steps = np.diff(stamps_s)
    kinds = np.unique(np.round(steps, 7))
    between = np.diff(np.flatnonzero(steps > _LOSS_STEPS * step))
    if len(kinds) < 2 or np.diff(kinds).min() < step / 2 or len(between) < _FEWEST_LONG:
        return False
    if np.std(between) > np.mean(between) / 2:
        return False
    even = stamps_s - step * np.arange(len(stamps_s))
    return _variance_ratio(even, steps < _shortest_pause(steps)) < _EVEN_RATIO


def _line(index: NDArray[np.int64], stamps_s: NDArray[np.float64]) -> tuple[float, float]:
    """Least squares, the second time without what lies far off; slope and start."""
    keep = np.ones(len(index), dtype=bool)
    slope = start = 0.0
    for _ in range(2):
        x, y = index[keep].astype(np.float64), stamps_s[keep]
        slope = float(np.sum((x - x.mean()) * (y - y.mean())) / np.sum((x - x.mean()) ** 2))
        start = float(y.mean() - slope * x.mean())
        off = np.abs(stamps_s - start - slope * index)
        keep = off <= 5 * 1.4826 * float(np.median(off)) + 1e-12
    return slope, start


def _variance_ratio(residual_s: NDArray[np.float64], ordinary: NDArray[np.bool_]) -> float:
    """Variance of the change over many rows, over that of as many independent steps."""
    span = min(_RATIO_SPAN, len(residual_s) // 4)
    steps = np.diff(residual_s)[ordinary]
    single = float(np.mean(steps**2)) if len(steps) else 0.0
    if span < 4 or single < 1e-18:
        return 0.0
    far = residual_s[span:] - residual_s[:-span]
    # The median of a squared normal variable is 0.455 of its variance; few leaps do not move it.
    return float(np.median(far**2) / 0.455 / (span * single))


def _drift(residual_s: NDArray[np.float64], step_s: float) -> NDArray[np.float64]:
    """Slow wander of the even clock against the stamps' watch; zeros if it cannot be told."""
    from scipy.ndimage import uniform_filter1d

    window = round(_DRIFT_WINDOW_S / step_s)
    if len(residual_s) < 3 * window:
        return np.zeros_like(residual_s)
    # Twice, so that the window has no hard edges for single far stamps to cross.
    smooth = uniform_filter1d(uniform_filter1d(residual_s, window // 2), window // 2)
    chance = _DRIFT_SIGMAS * float(np.std(residual_s - smooth)) / np.sqrt(window / 2)
    if np.ptp(smooth) < max(_DRIFT_SHARE * step_s, chance):
        return np.zeros_like(residual_s)
    return np.asarray(smooth)
