"""Rows at their instants, brought onto an even grid; what was lost is filled and listed."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.reading.stamps import Clock
from spinlab.recording import Gap

# Losses up to this many samples are bridged by the interpolation itself and only counted.
BRIDGED_SAMPLES = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Gridded:
    """Values (channels, n) on an even grid, with gaps in seconds from `start_s`'s own clock."""

    values: NDArray[np.float64]
    start_s: float
    gaps: tuple[Gap, ...]
    bridged: int
    moved: bool


def evenly(clock: Clock, values: NDArray[np.float64]) -> Gridded:
    """Values of shape (channels, rows) at the grid of `clock.rate_hz`.

    A straight even clock needs no interpolation but in its holes: rows are put in place as they
    are.  Otherwise a cubic spline runs through the rows (band-limited to first order; near half
    the rate it lowers amplitudes).
    """
    lost = np.diff(clock.index) - 1
    gaps = tuple(
        Gap(
            start_s=float(clock.time_s[k]),
            end_s=float(clock.time_s[k + 1]),
            reason=f"{lost[k]} samples are missing",
        )
        for k in np.flatnonzero(lost > BRIDGED_SAMPLES)
    )
    start = float(clock.time_s[0])
    if clock.straight and not lost.any():
        grid = values
    else:
        grid = _resampled(clock, values, lost > BRIDGED_SAMPLES)
    return Gridded(
        values=grid,
        start_s=start,
        gaps=gaps,
        bridged=int(lost[(lost > 0) & (lost <= BRIDGED_SAMPLES)].sum()),
        moved=not clock.straight,
    )


def _resampled(
    clock: Clock, values: NDArray[np.float64], holes: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Piecewise cubic over each unbroken part, a straight line across the holes."""
    time, count = clock.time_s, int(clock.index[-1]) + 1
    if not clock.straight:
        count = int(np.floor((time[-1] - time[0]) * clock.rate_hz + 1e-6)) + 1
        targets = time[0] + np.arange(count) / clock.rate_hz
    else:
        targets = time[0] + (time[-1] - time[0]) * np.arange(count) / max(1, count - 1)
    grid = np.stack([np.interp(targets, time, row) for row in values])
    edges = np.concatenate([[0], np.flatnonzero(holes) + 1, [len(time)]])
    for first, last in itertools.pairwise(edges):
        _spline_part(grid, targets, time[first:last], values[:, first:last])
    return grid


def _spline_part(
    grid: NDArray[np.float64],
    targets: NDArray[np.float64],
    time: NDArray[np.float64],
    values: NDArray[np.float64],
) -> None:
    from scipy.interpolate import CubicSpline

    distinct, inverse, counts = np.unique(time, return_inverse=True, return_counts=True)
    if len(distinct) < 4:
        return
    # Rows that share one instant count as their mean there.
    means = np.stack([np.bincount(inverse, row) for row in values]) / counts
    inside = slice(*np.searchsorted(targets, [distinct[0], distinct[-1] + 1e-12]))
    grid[:, inside] = CubicSpline(distinct, means, axis=1)(targets[inside])
