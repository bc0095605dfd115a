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
_LOSS_STEPS = 1.75
# Over so many samples the variance ratio is taken, and below this ratio the clock is even.
_RATIO_SPAN = 64
_EVEN_RATIO = 0.25
# The even clock may drift: residuals averaged over this long follow it.
_DRIFT_WINDOW_S = 20.0
# Drift below this share of a step cannot be told from none, and is left alone.
_DRIFT_SHARE = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class Clock:
    """Where each kept row lies in time.

    Attributes:
        time_s: shape (n,), strictly rising instants that the rows are taken to have.
        rate_hz: samples per second over the whole log, pauses excluded.
        rate_standard_uncertainty_hz: of that fit; the phone's own quartz comes on top.
        even: True where the sensor's clock is even and the stamps only scatter around it.
        straight: True where `time_s` is on an even grid but for lost samples.
        index: shape (n,), position on the even grid, lost samples counted in.
        step_s: typical spacing; jitter_s: standard deviation of the steps from it.
    """

    time_s: NDArray[np.float64]
    rate_hz: float
    rate_standard_uncertainty_hz: float
    even: bool
    straight: bool
    index: NDArray[np.int64]
    median_step_s: float
    jitter_s: float


def fit_clock(stamps_s: NDArray[np.float64]) -> Clock:
    """The clock behind rising (not strictly) stamps, shape (n,), n >= 3."""
    steps = np.diff(stamps_s)
    step = _usual_step(steps)
    index = np.concatenate([[0], np.cumsum(1 + _lost_after(stamps_s, step))]).astype(np.int64)
    slope, start = _line(index, stamps_s)
    index = np.concatenate([[0], np.cumsum(1 + _lost_after(stamps_s, slope))]).astype(np.int64)
    slope, start = _line(index, stamps_s)
    ordinary = np.diff(index) == 1
    jitter = float(np.std(steps[ordinary])) if ordinary.any() else 0.0
    even = _variance_ratio(stamps_s - slope * index, ordinary) < _EVEN_RATIO
    line = start + slope * index
    if even:
        drift = _drift(stamps_s - line, slope)
        time = line + drift
        straight = bool(np.ptp(drift) == 0)
    else:
        time = stamps_s
        straight = False
    scatter = float(np.std(stamps_s - time)) if even else jitter
    return Clock(
        time_s=time,
        rate_hz=1 / slope,
        rate_standard_uncertainty_hz=_slope_uncertainty(scatter, index) / slope**2,
        even=even,
        straight=straight,
        index=index,
        median_step_s=float(np.median(steps)),
        jitter_s=jitter,
    )


def _usual_step(steps: NDArray[np.float64]) -> float:
    """Mean of the steps without pauses: a median would keep the rounding of the stamps."""
    typical = np.median(steps[steps > 0])
    # Batches share one stamp and then leap: the mean over all is right unless pauses spoil it.
    batches = np.mean(steps == 0) > 0.4
    limit = np.quantile(steps, 0.99) * 2 if batches else _LOSS_STEPS * typical
    kept = steps[steps <= limit]
    return float(kept.mean())


def _lost_after(stamps_s: NDArray[np.float64], step: float) -> NDArray[np.int64]:
    """Samples lost after each row: a long step that the next few rows do not catch up."""
    steps = np.diff(stamps_s)
    lost = np.zeros(len(steps), dtype=np.int64)
    for k in np.flatnonzero(steps > _LOSS_STEPS * step):
        after = stamps_s[k + 1 : k + 9]
        before = stamps_s[max(0, k - 7) : k + 1]
        # Where the even rows on either side of the step would put it.
        right = float(np.median(after - step * np.arange(len(after))))
        left = float(np.median(before - step * np.arange(1 - len(before), 1)))
        lost[k] = max(0, round((right - left) / step) - 1)
    return lost


def _line(index: NDArray[np.int64], stamps_s: NDArray[np.float64]) -> tuple[float, float]:
    """Least squares twice, the second time without what lies far off; slope and start."""
    keep = np.ones(len(index), dtype=bool)
    slope, start = 0.0, 0.0
    for _ in range(2):
        x, y = index[keep].astype(np.float64), stamps_s[keep]
        slope = float(np.sum((x - x.mean()) * (y - y.mean())) / np.sum((x - x.mean()) ** 2))
        start = float(y.mean() - slope * x.mean())
        off = np.abs(stamps_s - start - slope * index)
        keep = off <= max(5 * 1.4826 * float(np.median(off)), 1e-12)
        if keep.sum() < len(index) // 2:
            break
    return slope, start


def _variance_ratio(residual_s: NDArray[np.float64], ordinary: NDArray[np.bool_]) -> float:
    """Variance of the change over many rows, over that of as many independent steps."""
    span = min(_RATIO_SPAN, len(residual_s) // 4)
    steps = np.diff(residual_s)[ordinary]
    single = float(np.mean(steps**2)) if len(steps) else 0.0
    if span < 4 or single < 1e-18:
        return 0.0
    far = residual_s[span:] - residual_s[:-span]
    return float(np.median(far**2) / 0.455 / (span * single))


def _drift(residual_s: NDArray[np.float64], step_s: float) -> NDArray[np.float64]:
    """Slow wander of the even clock against the stamps' watch; zeros if it cannot be told."""
    from scipy.ndimage import uniform_filter1d

    window = round(_DRIFT_WINDOW_S / step_s)
    if len(residual_s) < 3 * window:
        return np.zeros_like(residual_s)
    smooth = uniform_filter1d(residual_s, window, mode="nearest")
    if np.ptp(smooth) < _DRIFT_SHARE * step_s:
        return np.zeros_like(residual_s)
    return np.asarray(smooth)


def _slope_uncertainty(scatter_s: float, index: NDArray[np.int64]) -> float:
    """Standard error of a least-squares slope."""
    x = index - index.mean()
    return scatter_s / float(np.sqrt(np.sum(x.astype(np.float64) ** 2)))
