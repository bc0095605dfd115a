"""Order spectra window by window, whitened, and how far a family of orders is shifted in them.

A *family* is a set of orders that belong to one shaft.  In a window of N turns its lines lie at
k s, k the family's members and s the shaft's ratio to the drum's track; s is found by the largest
sum of whitened power (a maximum-likelihood estimate for lines in locally white noise), and the
Fisher information of the lines' phase slope gives its uncertainty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinlab.orders import Span, cell_edges, cell_means, turning_spans
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

PADDING = 4
# Weighted variance of time in a Hann window of unit length, 1/12 - 1/(2 pi^2).
_HANN_VARIANCE = 1.0 / 12.0 - 1.0 / (2.0 * np.pi**2)
_LINE_CELLS = 6  # to either side: what a Hann window smears a line over, padded four times
_NOISE_ORDERS = 1.5  # width over which the local noise is read, in orders


@dataclass(frozen=True, kw_only=True, eq=False)
class OrderSpectra:
    """Power over order in successive windows.

    Attributes:
        time_s, speed_rpm, slope_rpm_per_s: shape (w,), window centres and the drum's motion there.
        turns: turns in a window.
        step: order between neighbouring cells (padded, finer than the resolution 2 / turns).
        power: float32, shape (w, m), power of each cell from order 0 upward.
        white: float32, shape (w, m), power over the median power around it; noise has mean 1.
    """

    time_s: NDArray[np.float64]
    speed_rpm: NDArray[np.float64]
    slope_rpm_per_s: NDArray[np.float64]
    turns: float
    step: float
    power: NDArray[np.float32]
    white: NDArray[np.float32]

    @property
    def highest(self) -> float:
        """Highest order held."""
        return float(self.step * (self.power.shape[1] - 1))

    def at(self, orders: NDArray[np.float64]) -> NDArray[np.float64]:
        """Whitened power at orders of any shape, linear between cells, shape (w, ...)."""
        place = np.clip(orders / self.step, 0.0, self.white.shape[1] - 1.001)
        index = place.astype(int)
        part = (place - index).astype(np.float32)
        low = np.take(self.white, index, axis=1)
        return np.asarray(low + (np.take(self.white, index + 1, axis=1) - low) * part)


def order_spectra(
    recording: Recording,
    track: SpeedTrack,
    *,
    highest_order: float,
    turns: float = 32.0,
    least_rpm: float = 150.0,
) -> OrderSpectra:
    """Order spectra of the first channel's sound in half-overlapping windows of `turns`."""
    cells = int(2 ** np.ceil(np.log2(2.6 * highest_order)))
    size = round(turns * cells)
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    kept = int(highest_order * PADDING * turns) + 2
    rows, centres = [], []
    samples = recording.samples.mean(axis=0) if recording.channels > 1 else recording.samples[0]
    for span in turning_spans(track, least_rpm=least_rpm, least_turns=turns):
        inside = Span(max(span.start_s, recording.start_s), min(span.end_s, recording.end_s))
        edges = cell_edges(track, inside, cells_per_turn=cells)
        values = cell_means(samples, recording.rate_hz, edges, start_s=recording.start_s)
        for first in range(0, len(values) - size + 1, size // 2):
            part = (values[first : first + size] * window).astype(np.float32)
            spectrum = _padded(part, PADDING * size)[:kept]
            rows.append(spectrum.real**2 + spectrum.imag**2)
            centres.append(0.5 * (edges[first] + edges[first + size]))
    power = np.array(rows, dtype=np.float32).reshape(len(rows), kept)
    time = np.array(centres, dtype=float)
    slope = np.gradient(np.nan_to_num(track.speed_rpm), track.time_s)
    step = 1.0 / (PADDING * turns)
    # The mean over a cell lowers high orders by sin(x)/x: divided out.
    power /= (np.sinc(np.arange(kept) * step / cells) ** 2).astype(np.float32)
    return OrderSpectra(
        time_s=time,
        speed_rpm=track.speed_at(time) if len(time) else time,
        slope_rpm_per_s=np.interp(time, track.time_s, slope) if len(time) else time,
        turns=turns,
        step=step,
        power=power,
        white=_whitened(power, step),
    )


def without(
    spectra: OrderSpectra,
    *,
    tones_hz: Sequence[float] = (),
    orders: Sequence[float] = (),
    steady_rpm_per_s: float = 6.0,
) -> OrderSpectra:
    """The same spectra with lines of other sources whitened down to the noise.

    Args:
        spectra: order spectra.
        tones_hz: tones that stay at one frequency, such as the mains' hum: on a plateau one of them
            can lie where a shaft's order would.  In a ramp they are smeared, and left.
        orders: multiples of the drum's rate.
        steady_rpm_per_s: slope below which a window counts as a plateau's.
    """
    white = spectra.white.copy()
    cells = white.shape[1]
    for row, (speed, slope) in enumerate(
        zip(spectra.speed_rpm, spectra.slope_rpm_per_s, strict=True)
    ):
        places = list(orders)
        if abs(slope) < steady_rpm_per_s:
            places += [60.0 * tone / speed for tone in tones_hz]
        for place in places:
            middle = round(place / spectra.step)
            if middle - _LINE_CELLS > 0 and middle + _LINE_CELLS < cells:
                near = slice(middle - _LINE_CELLS, middle + _LINE_CELLS + 1)
                white[row, near] = np.minimum(white[row, near], 1.0)
    return replace(spectra, white=white)


def _padded(part: NDArray[np.float32], length: int) -> NDArray[np.complex64]:
    from scipy.fft import rfft

    return np.asarray(rfft(part, n=length))


def _whitened(power: NDArray[np.float32], step: float) -> NDArray[np.float32]:
    """Power over the median around it (of every fourth cell), scaled so that noise has mean 1."""
    if power.size == 0:
        return power
    thin = power[:, ::PADDING]
    width = min(max(6, round(_NOISE_ORDERS / (step * PADDING))), thin.shape[1])
    hop = max(1, width // 2)
    views = np.lib.stride_tricks.sliding_window_view(thin, width, axis=1)[:, ::hop]
    medians = np.median(views, axis=2)
    place = (np.arange(power.shape[1]) / PADDING - 0.5 * (width - 1)) / hop
    place = np.clip(place, 0.0, medians.shape[1] - 1.0)
    low = np.minimum(place.astype(int), max(medians.shape[1] - 2, 0))
    part = (place - low).astype(np.float32)
    high = np.minimum(low + 1, medians.shape[1] - 1)
    background = medians[:, low] * (1 - part) + medians[:, high] * part
    # The median of an exponential law is ln 2 times its mean.
    return np.asarray(power * np.log(2.0) / np.maximum(background, 1e-30), np.float32)


@dataclass(frozen=True, kw_only=True, eq=False)
class Shift:
    """Ratio of a shaft to the drum's track in every group of windows.

    Attributes:
        ratio, standard_uncertainty: shape (g,); not-a-number where the family is not heard.
        excess: shape (g,), how far the family's score lies above the best of as many decoys, in
            their standard deviations.
        members: orders of the shaft that were used.
    """

    ratio: NDArray[np.float64]
    standard_uncertainty: NDArray[np.float64]
    excess: NDArray[np.float64]
    members: tuple[float, ...]

    @property
    def heard(self) -> NDArray[np.bool_]:
        """Groups in which the family stands out."""
        return np.isfinite(self.ratio)


# Decoys: the same search around ratios where the family can not be, to see how high noise and
# other sources alone would score.
_DECOYS = (0.78, 0.82, 0.86, 0.905)
LEAST_EXCESS = 3.0


def family_shift(
    spectra: OrderSpectra,
    members: Sequence[float],
    groups: NDArray[np.int64],
    *,
    ratio: float,
    span_percent: float = 4.0,
    least_excess: float = LEAST_EXCESS,
) -> Shift:
    """Ratio of the shaft whose orders are `members`, looked for around `ratio` in each group.

    Args:
        spectra: order spectra on the drum's angle.
        members: multiples of the shaft's own rate.
        groups: shape (w,), group of each window, 0 upward; -1 leaves a window out.
        ratio: expected turns of that shaft per drum turn.
        span_percent: how far to look to either side.
        least_excess: how far above the decoys a family must score to count as heard.
    """
    count = int(groups.max(initial=-1)) + 1
    top = spectra.highest / ((1.0 + 0.01 * span_percent) * ratio)
    used = np.array([m for m in members if m <= top], dtype=float)
    nothing = np.full(count, np.nan)
    if count == 0 or len(used) == 0:
        blank = np.zeros(count)
        return Shift(ratio=nothing, standard_uncertainty=nothing, excess=blank, members=())
    finest = 0.5 / (spectra.turns * used.max())
    half = int(np.ceil(0.01 * span_percent * ratio / finest))
    offsets = finest * np.arange(-half, half + 1)
    total = _grouped(_score(spectra, used, ratio + offsets), groups, count)
    decoys = np.stack(
        [_grouped(_score(spectra, used, d * ratio + offsets[::2]), groups, count) for d in _DECOYS]
    )
    best = np.argmax(total, axis=1)
    high = total[np.arange(count), best]
    spread = decoys.std(axis=(0, 2)) + 1e-9
    excess = (high - decoys.max(axis=(0, 2))) / spread
    found = _parabola(total, best, ratio + offsets, finest)
    u = _uncertainty(spectra, used, found, groups, count)
    # A best place at the end of the range is the flank of something outside it.
    silent = (excess < least_excess) | (best == 0) | (best == total.shape[1] - 1)
    return Shift(
        ratio=np.where(silent, np.nan, found),
        standard_uncertainty=np.where(silent, np.nan, u),
        excess=excess,
        members=tuple(used),
    )


def _score(
    spectra: OrderSpectra, members: NDArray[np.float64], grid: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Sum over the members of ln(1 + whitened power), shape (w, g).

    The logarithm saturates, so that one loud line of another source cannot carry a family alone.
    """
    total: NDArray[Any] = np.zeros((len(spectra.time_s), len(grid)), dtype=np.float32)
    for member in members:
        total += np.log1p(spectra.at(member * grid))
    return total


def _grouped(
    total: NDArray[np.float64], groups: NDArray[np.int64], count: int
) -> NDArray[np.float64]:
    summed = np.zeros((count, total.shape[1]))
    inside = groups >= 0
    np.add.at(summed, groups[inside], total[inside])
    return summed


def _parabola(
    total: NDArray[np.float64], best: NDArray[np.int64], grid: NDArray[np.float64], step: float
) -> NDArray[np.float64]:
    """Vertex through the largest value and its neighbours."""
    inner = np.clip(best, 1, total.shape[1] - 2)
    rows = np.arange(len(total))
    left, middle, right = (total[rows, inner + d] for d in (-1, 0, 1))
    bend = left - 2 * middle + right
    offset = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    return np.asarray(grid[inner] + step * np.clip(offset, -1, 1))


def _uncertainty(
    spectra: OrderSpectra,
    members: NDArray[np.float64],
    found: NDArray[np.float64],
    groups: NDArray[np.int64],
    count: int,
) -> NDArray[np.float64]:
    """From the Fisher information of the lines' phase slope in all windows of a group.

    |A|^2 over the variance of each part is twice the whitened line power; half-overlapping
    windows share a third of their noise; a Hann weight costs a factor 1.4 in deviation.
    """
    information = np.zeros(count)
    inside = groups >= 0
    for member in members:
        line = spectra.at(member * found)  # (w, g)
        own = line[np.arange(len(groups)), np.maximum(groups, 0)]
        snr = np.maximum(own - 1.0, 0.0) * (2 * np.pi * member * spectra.turns) ** 2
        np.add.at(information, groups[inside], 2.0 * _HANN_VARIANCE * snr[inside] / 1.5)
    return np.asarray(1.4 / np.sqrt(np.maximum(information, 1e-12)))
