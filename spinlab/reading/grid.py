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
# A cubic spline through evenly spaced rows keeps nine tenths of an amplitude up to this share of
# their rate (cardinal cubic spline, Unser 1999).
SPLINE_SHARE = 0.3
# Half the length of the sinc by which a drifting clock is evened out, and its Kaiser window's
# shape: amplitudes hold within 1 % up to 0.45 of the rate.
_SINC_REACH = 16
_SINC_BETA = 6.0
_SINC_CHUNK = 2**15


@dataclass(frozen=True, kw_only=True, eq=False)
class Gridded:
    """Values (channels, n) on an even grid whose first sample lies at `start_s`."""

    values: NDArray[np.float64]
    start_s: float
    gaps: tuple[Gap, ...]
    bridged: int


def evenly(clock: Clock, values: NDArray[np.float64]) -> Gridded:
    """Values of shape (channels, rows) at the grid of `clock.rate_hz`.

    Rows of an even clock are put in place as they are, and only lost ones are interpolated; if the
    clock drifts, a windowed sinc then evens it out.  Rows of a truly uneven clock are interpolated
    by a cubic spline through their own stamps.
    """
    lost = np.diff(clock.index) - 1
    holes = lost > BRIDGED_SAMPLES
    gaps = tuple(
        Gap(
            start_s=float(clock.time_s[k]),
            end_s=float(clock.time_s[k + 1]),
            reason=f"readings that are missing: {lost[k]}",
        )
        for k in np.flatnonzero(holes)
    )
    start = float(clock.time_s[0])
    if not clock.even:
        count = int(np.floor((clock.time_s[-1] - start) * clock.rate_hz + 1e-6)) + 1
        grid = _splined(clock.time_s, values, start + np.arange(count) / clock.rate_hz, holes)
    elif lost.any():
        index = clock.index.astype(np.float64)
        grid = _splined(index, values, np.arange(index[-1] + 1), holes)
    else:
        grid = values
    if clock.even and not clock.straight:
        time = np.interp(np.arange(grid.shape[1]), clock.index, clock.time_s)
        grid = _straightened(grid, time, clock.rate_hz)
    return Gridded(
        values=grid,
        start_s=start,
        gaps=gaps,
        bridged=int(lost[(lost > 0) & ~holes].sum()),
    )


def _splined(
    where: NDArray[np.float64],
    values: NDArray[np.float64],
    targets: NDArray[np.float64],
    holes: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Piecewise cubic over each unbroken part, a straight line across the holes."""
    grid = np.stack([np.interp(targets, where, row) for row in values])
    edges = np.concatenate([[0], np.flatnonzero(holes) + 1, [len(where)]])
    for first, last in itertools.pairwise(edges):
        _spline_part(grid, targets, where[first:last], values[:, first:last])
    return grid


def _spline_part(
    grid: NDArray[np.float64],
    targets: NDArray[np.float64],
    where: NDArray[np.float64],
    values: NDArray[np.float64],
) -> None:
    from scipy.interpolate import CubicSpline

    distinct, inverse, counts = np.unique(where, return_inverse=True, return_counts=True)
    if len(distinct) < 4:
        return
    # Rows that share one instant count as their mean there.
    means = np.stack([np.bincount(inverse, row) for row in values]) / counts
    inside = slice(*np.searchsorted(targets, [distinct[0], distinct[-1] + 1e-12]))
    grid[:, inside] = CubicSpline(distinct, means, axis=1)(targets[inside])


def _straightened(
    grid: NDArray[np.float64], time_s: NDArray[np.float64], rate_hz: float
) -> NDArray[np.float64]:
    """Samples at the instants `time_s`, which drift slowly, brought onto an even grid.

    Band-limited interpolation: a sinc under a Kaiser window, about the place on the old grid that
    each new instant has.
    """
    count = int(np.floor((time_s[-1] - time_s[0]) * rate_hz + 1e-6)) + 1
    even = time_s[0] + np.arange(count) / rate_hz
    place = np.interp(even, time_s, np.arange(len(time_s)))
    padded = np.pad(grid, ((0, 0), (_SINC_REACH, _SINC_REACH)), mode="edge")
    taps = np.arange(1 - _SINC_REACH, _SINC_REACH + 1)
    straight = np.empty((len(grid), count))
    for first in range(0, count, _SINC_CHUNK):
        part = place[first : first + _SINC_CHUNK]
        whole = np.floor(part).astype(np.int64)
        distance = taps[None, :] - (part - whole)[:, None]
        bend = np.sqrt(np.maximum(0.0, 1 - (distance / _SINC_REACH) ** 2))
        weights = np.sinc(distance) * np.i0(_SINC_BETA * bend)
        weights /= weights.sum(axis=1, keepdims=True)
        rows = padded[:, whole[:, None] + taps[None, :] + _SINC_REACH]
        straight[:, first : first + _SINC_CHUNK] = np.einsum("cnt,nt->cn", rows, weights)
    return straight
