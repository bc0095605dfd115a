"""Short-time band levels of the loudest channel: the common ground of the sound's quality tests.

One pass of short frames gives the level in bands over time; in the same pass the steadiness of
single spectrum cells is judged, and a longer frame now and then gives the long-term spectrum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft, rfftfreq

from spinlab.recording import Recording

BLOCK_S = 10.0
# Frames must resolve syllables (8 a second) and yet part the voice's harmonics (80 Hz and up).
_FRAME_S = 0.022
# The long-term spectrum must resolve the low orders of the drum; so many frames steady it.
_LONG_FRAME_S = 0.18
_LONG_FRAMES = 300
# Band edges in Hz: about an octave each, thirds within the telephone band where speech is told.
EDGES_HZ = (
    *(20.0, 80.0, 150.0, 300.0, 400.0, 530.0, 700.0, 930.0, 1230.0, 1630.0, 2150.0, 2800.0),
    *(3400.0, 5000.0, 7000.0, 10000.0, 14000.0, 20000.0),
)
SPEECH_BANDS = slice(3, 12)  # 300 to 3400 Hz within `EDGES_HZ`
_HOLE_BAND_HZ = (300.0, 4000.0)
_HOLE_FRAMES = 24  # half overlapping: a quarter of a second, in which a machine is steady
_TINY = 1e-20


@dataclass(frozen=True, kw_only=True, eq=False)
class Frames:
    """What the passes over the loudest channel gave.

    Attributes:
        step_s: time between frames; the first is centred at half a frame.
        band_power: shape (bands, n), mean square per band; `EDGES_HZ` cut at half the rate.
        spectrum_hz, spectrum: long-term power per Hz, shape (m,).
        holes: share of cells far below the median of their quarter second; None if too short.
    """

    step_s: float
    band_power: NDArray[np.float32]
    spectrum_hz: NDArray[np.float64]
    spectrum: NDArray[np.float64]
    holes: float | None


def measure_frames(recording: Recording, channel: int) -> Frames:
    """Frames of one channel of a sound, block by block."""
    rate = recording.rate_hz
    size = min(2 ** round(np.log2(_FRAME_S * rate)), max(2, recording.length))
    hop = max(1, size // 2)
    window = _hann(size)
    window /= np.float32(np.sqrt(np.sum(window**2) * size / 2))
    frequency = rfftfreq(size, 1 / rate)
    edges = _edges(frequency, rate)
    block_s = max(size, round(BLOCK_S * rate / hop) * hop) / rate
    long = _LongTerm(recording, block_s)
    bands: list[NDArray[np.float32]] = []
    holes = cells = 0
    low, high = np.searchsorted(frequency, _HOLE_BAND_HZ)
    for _, block in recording.blocks(block_s, (size - hop) / rate):
        long.add(block[channel])
        power = _power(block[channel], size, hop, window)
        if not len(power):
            continue
        bands.append(np.add.reduceat(power, edges[:-1], axis=1)[:, : len(edges) - 1])
        found, looked = _holes(power[:, low:high])
        holes, cells = holes + found, cells + looked
    return Frames(
        step_s=hop / rate,
        band_power=np.concatenate(bands).T if bands else np.zeros((1, 0), dtype=np.float32),
        spectrum_hz=rfftfreq(long.size, 1 / rate),
        spectrum=long.spectrum(),
        holes=holes / cells if cells else None,
    )


def _hann(size: int) -> NDArray[np.float32]:
    """A Hann window without its zeros at the ends, so that even one sample has a weight."""
    return np.hanning(size + 2)[1:-1].astype(np.float32)


def _edges(frequency: NDArray[np.float64], rate_hz: float) -> NDArray[np.intp]:
    """First cell of each band, and the end of the last; bands beyond half the rate fall away."""
    inside = [edge for edge in EDGES_HZ if edge < rate_hz / 2] + [rate_hz / 2]
    edges = np.searchsorted(frequency, inside)
    return np.maximum.accumulate(np.maximum(edges, np.arange(len(edges))))


def _power(
    row: NDArray[np.float32], size: int, hop: int, window: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Mean square per cell, shape (frames, cells)."""
    if len(row) < size:
        return np.zeros((0, size // 2 + 1), dtype=np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(row, size)[::hop]
    transform = rfft(frames * window, axis=1)
    return np.asarray(transform.real**2 + transform.imag**2)


def _holes(power: NDArray[np.float32]) -> tuple[int, int]:
    """Cells more than 25 dB below the median of their quarter second, and all cells looked at.

    The power of noise in a cell is exponentially distributed, so 0.22 % of its cells lie so low.
    """
    count = len(power) // _HOLE_FRAMES
    if not count:
        return 0, 0
    parts = power[: count * _HOLE_FRAMES].reshape(count, _HOLE_FRAMES, -1)
    median = np.median(parts, axis=1, keepdims=True)
    alive = median > _TINY
    return int(np.sum((parts < median * 10**-2.5) & alive)), int(alive.sum()) * _HOLE_FRAMES


class _LongTerm:
    """Power per Hz, mean over frames spread evenly over the recording (Welch 1967)."""

    def __init__(self, recording: Recording, block_s: float) -> None:
        rate = recording.rate_hz
        self.size = min(2 ** round(np.log2(_LONG_FRAME_S * rate)), recording.length)
        self._per_block = max(1, round(_LONG_FRAMES * block_s / recording.duration_s))
        self._window = _hann(self.size)
        self._scale = 2 / (rate * float(np.sum(self._window**2)))
        self._total = np.zeros(self.size // 2 + 1)
        self._frames = 0

    def add(self, row: NDArray[np.float32]) -> None:
        """Take some frames of the next block."""
        starts = np.arange(0, len(row) - self.size + 1, max(1, self.size // 2))
        for start in starts[:: max(1, len(starts) // self._per_block)]:
            frame = row[start : start + self.size]
            transform = rfft((frame - frame.mean()) * self._window)
            self._total += transform.real**2 + transform.imag**2
            self._frames += 1

    def spectrum(self) -> NDArray[np.float64]:
        """The mean, shape (size // 2 + 1,)."""
        return self._total * self._scale / max(1, self._frames)
