"""Angular resampling and order spectra: a signal seen per turn of the shaft instead of per second.

Conventions: an *order* is a multiple of the rotation rate of the shaft that the track describes
(the drum).  Amplitudes are peak values of a sinusoid in the signal's own unit.

Method: the signal is averaged over cells of equal angle.  The mean over a cell is the difference
of the running integral at the cell's two edges, so it is exact for any change of speed and is its
own anti-alias filter (first zero at one order per cell); its droop, sin(pi x)/(pi x) with x the
order over the cells per turn, is divided out of spectra.  Computed order tracking as such:
Fyfe and Munck, Mechanical Systems and Signal Processing 11 (1997) 187-205.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

Array = NDArray[np.float64]

# The staircase under the running integral costs the factor sin(pi f/r)/(pi f/r) at frequency f
# and sample rate r: 0.2 % at r = 32 f, which is less than any phone's calibration.
SAMPLES_PER_CYCLE = 32
MOST_UPSAMPLING = 64
_BLOCK_SAMPLES = 2**21


class Span(NamedTuple):
    """A stretch of the file's own clock, in s."""

    start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class AngularSignal:
    """A signal at equal steps of the shaft's angle.

    Attributes:
        values: shape (n,), means over cells of 1/`cells_per_turn` turn.
        cells_per_turn: cells in one turn of the shaft.
        first_turn: turns of the track at the first cell's leading edge.
        span: the stretch of time it was taken from.
    """

    values: Array
    cells_per_turn: int
    first_turn: float
    span: Span

    @property
    def turns(self) -> float:
        """Length in turns."""
        return len(self.values) / self.cells_per_turn


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderSpectrum:
    """Amplitude over order.

    Attributes:
        order: shape (m,), from 0 upward.
        amplitude: shape (m,), peak amplitude of a sinusoid at that order, root mean square over
            the segments.
        resolution_orders: width at which two lines merge (Hann window: two bins).
        segments: segments averaged.
    """

    order: Array
    amplitude: Array
    resolution_orders: float
    segments: int


def turning_spans(
    track: SpeedTrack, *, least_rpm: float = 60.0, least_turns: float = 4.0
) -> tuple[Span, ...]:
    """Stretches in which the track knows a speed of at least `least_rpm`, `least_turns` long."""
    fast = track.known & (np.nan_to_num(track.speed_rpm) >= least_rpm)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], fast, [False]]).astype(np.int8)))
    spans = []
    for first, past in edges.reshape(-1, 2):
        span = Span(float(track.time_s[first]), float(track.time_s[past - 1]))
        first_turn, last_turn = track.turns_at(np.array(span))
        if last_turn - first_turn >= least_turns:
            spans.append(span)
    return tuple(spans)


def to_turns(
    values: NDArray[np.floating],
    rate_hz: float,
    track: SpeedTrack,
    *,
    start_s: float,
    cells_per_turn: int,
    span: Span | None = None,
) -> AngularSignal:
    """Average a uniformly sampled signal over cells of equal angle.

    Args:
        values: shape (n,), any unit.
        rate_hz: its sample rate.
        track: the shaft's speed; unknown stretches count as rest and yield no cells.
        start_s: time of the first sample on the file's own clock.
        cells_per_turn: cells in one turn.
        span: stretch to use; the whole signal if None.

    Raises:
        ValueError: `values` is not one row of samples.
    """
    if np.ndim(values) != 1:
        raise ValueError("values must be one row of samples, shape (n,)")
    whole = Span(start_s, start_s + len(values) / rate_hz)
    used = whole if span is None else Span(*np.clip(span, *whole))
    cells = angle_cells(track, used, cells_per_turn=cells_per_turn)
    return AngularSignal(
        values=cell_means(values, rate_hz, cells, start_s=start_s),
        cells_per_turn=cells_per_turn,
        first_turn=float(track.turns_at(np.array([used.start_s]))[0]),
        span=used,
    )


class Cells(NamedTuple):
    """Cells of equal angle: when each begins and ends, in s; shape (n,) both."""

    begin_s: Array
    end_s: Array

    def within(self, begin_s: float, end_s: float) -> Cells:
        """Those that lie between two times."""
        inside = (self.begin_s >= begin_s) & (self.end_s <= end_s)
        return Cells(self.begin_s[inside], self.end_s[inside])


def angle_cells(track: SpeedTrack, span: Span, *, cells_per_turn: int) -> Cells:
    """The cells of equal angle in a stretch.

    Unknown stretches count as rest: no cell reaches into one; counting begins anew behind it.
    """
    frames_s = np.clip(track.time_s, *span)
    # Turns are quadratic in time between frames; seven more knots keep the error of reading
    # them linearly below 1/64 of a frame's own curvature.
    between_s = frames_s[:-1, None] + np.diff(frames_s)[:, None] * (np.arange(1, 8) / 8.0)
    knots_s = np.unique(np.concatenate([span, frames_s, between_s.ravel()]))
    knots_turn = track.turns_at(knots_s)
    moving = np.concatenate([[False], np.diff(knots_turn) > 0, [False]])
    bounds = np.flatnonzero(np.diff(moving.astype(np.int8)))
    begins, ends = [np.zeros(0)], [np.zeros(0)]
    for first, last in bounds.reshape(-1, 2):
        turn, time = knots_turn[first : last + 1], knots_s[first : last + 1]
        cells = int((turn[-1] - turn[0]) * cells_per_turn * (1 - 1e-12))
        edges = np.interp(turn[0] + np.arange(cells + 1) / cells_per_turn, turn, time)
        begins.append(edges[:-1])
        ends.append(edges[1:])
    return Cells(np.concatenate(begins), np.concatenate(ends))


def cell_edges(track: SpeedTrack, span: Span, *, cells_per_turn: int) -> Array:
    """Edges of successive cells of equal angle in a stretch of `turning_spans`, in s.

    In such a stretch the speed is known throughout; elsewhere use `angle_cells`, or one cell
    would reach across the unknown part.
    """
    cells = angle_cells(track, span, cells_per_turn=cells_per_turn)
    edges: Array = np.concatenate([cells.begin_s, cells.end_s[-1:]])
    return edges


def cell_means(
    values: NDArray[np.floating], rate_hz: float, cells: Cells | Array, *, start_s: float
) -> Array:
    """Mean of the staircase through `values` over each cell.

    Args:
        values: shape (..., n), sample k standing for the time from k to k + 1 steps.
        rate_hz: sample rate.
        cells: from `angle_cells`, or edges from `cell_edges`.
        start_s: time at which the first sample begins.

    Returns:
        Shape (..., number of cells).
    """
    if not isinstance(cells, Cells):
        cells = Cells(cells[:-1], cells[1:])
    n = np.shape(values)[-1]
    begin, end = (np.clip((t - start_s) * rate_hz, 0.0, n) for t in (cells.begin_s, cells.end_s))
    means = np.zeros((*np.shape(values)[:-1], len(begin)))
    if n == 0:
        return means
    # A few million samples at a time: a running sum takes more memory than what it sums.
    last = 0
    while last < len(begin):
        first = last
        last = max(first + 1, int(np.searchsorted(end, begin[first] + _BLOCK_SAMPLES)))
        here = slice(first, last)
        means[..., here] = _block_means(np.asarray(values), begin[here], end[here])
    return means


def _block_means(values: NDArray[np.floating], begin: Array, end: Array) -> Array:
    """Means between places counted in samples, by a running sum over what lies between them."""
    offset = min(int(begin[0]), values.shape[-1] - 1)
    piece = values[..., offset : int(end[-1]) + 1]
    running = np.cumsum(piece, axis=-1, dtype=np.float64)

    def until(place: Array) -> Array:
        # All whole samples up to and including its own, less what of its own lies beyond.
        own = np.minimum(place.astype(np.int64), offset + piece.shape[-1] - 1)
        beyond = (own + 1 - place) * piece[..., own - offset]
        return np.asarray(running[..., own - offset] - beyond)

    means: Array = (until(end) - until(begin)) / np.maximum(end - begin, 1e-9)
    return means


def resample(
    recording: Recording,
    track: SpeedTrack,
    *,
    cells_per_turn: int = 64,
    channel: int = 0,
    span: Span | None = None,
) -> AngularSignal:
    """One channel of a recording at equal steps of angle.

    A slow log is first interpolated (polyphase filter) so that the highest order kept, a quarter
    of `cells_per_turn`, is held by `SAMPLES_PER_CYCLE` samples a cycle at top speed.

    Args:
        recording: sound or acceleration.
        track: the shaft's speed.
        cells_per_turn: cells in one turn; orders up to a quarter of it are good to 1 %.
        channel: row of `recording.samples`.
        span: stretch to use; everything the track knows if None.
    """
    from scipy.signal import resample_poly

    values = np.asarray(recording.samples[channel], dtype=np.float64)
    fastest = float(np.max(np.nan_to_num(track.speed_rpm), initial=0.0)) / 60.0
    wanted_hz = SAMPLES_PER_CYCLE * fastest * cells_per_turn / 4.0
    factor = int(np.clip(np.ceil(wanted_hz / recording.rate_hz), 1, MOST_UPSAMPLING))
    rate_hz, start_s = recording.rate_hz * factor, recording.start_s
    if factor > 1:
        values = resample_poly(values, factor, 1)
        # Sample k of the staircase stands for the time half a step either side of it.
    start_s -= 0.5 / rate_hz
    return to_turns(
        values, rate_hz, track, start_s=start_s, cells_per_turn=cells_per_turn, span=span
    )


def order_spectrum(
    signals: AngularSignal | Sequence[AngularSignal],
    *,
    turns_per_segment: float | None = None,
    overlap: float = 0.5,
) -> OrderSpectrum:
    """Amplitude over order, mean square over Hann-windowed segments (Welch 1967).

    Args:
        signals: one or more stretches with the same cells per turn.
        turns_per_segment: segment length; the shortest stretch if None.
        overlap: share of a segment that the next one repeats.

    Raises:
        ValueError: nothing as long as one segment.
    """
    rows = [signals] if isinstance(signals, AngularSignal) else list(signals)
    rows = [row for row in rows if len(row.values)]
    if not rows or len({row.cells_per_turn for row in rows}) != 1:
        raise ValueError("signals must hold at least one stretch, all with equal cells_per_turn")
    cells = rows[0].cells_per_turn
    turns = min(row.turns for row in rows) if turns_per_segment is None else turns_per_segment
    size = round(turns * cells)
    step = max(1, round(size * (1.0 - overlap)))
    window = np.hanning(size + 1)[:-1]
    total, count = np.zeros(size // 2 + 1), 0
    for row in rows:
        for first in range(0, len(row.values) - size + 1, step):
            part = row.values[first : first + size]
            total += np.abs(np.fft.rfft((part - part.mean()) * window)) ** 2
            count += 1
    if count == 0:
        raise ValueError("no stretch is as long as one segment: ask for fewer turns_per_segment")
    order = np.arange(len(total)) * cells / size
    droop = np.sinc(order / cells)
    amplitude = 2.0 * np.sqrt(total / count) / window.sum() / droop
    return OrderSpectrum(
        order=order, amplitude=amplitude, resolution_orders=2.0 * cells / size, segments=count
    )
