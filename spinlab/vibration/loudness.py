"""Sound power in a few bands, 200 times a second: the common ground of modulation, knocks, phases.

Short Hann frames (5.3 ms at 48 kHz), half overlapping or less, give the power of each band; what is
slower than about 80 Hz in it - the drum's rate and its harmonics, beats, on and off - is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording

FRAME_RATE_HZ = 200.0
# About an octave and a half each; the lowest keeps pump and hum apart from the rest.
BAND_EDGES_HZ = (60.0, 180.0, 500.0, 1200.0, 2800.0, 6000.0, 12000.0, 20000.0)
_FLOOR = 1e-16  # power of the last bit of 24-bit sound, and below anything a phone records
_BLOCK_S = 20.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Loudness:
    """Band powers over time.

    Attributes:
        time_s: shape (n,), frame centres on the file's own clock.
        rate_hz: frames per second.
        bands_hz: shape (b, 2), edges of each band that lies below half the recording's rate.
        power: float32, shape (b, n), mean square in full scale squared.
    """

    time_s: NDArray[np.float64]
    rate_hz: float
    bands_hz: NDArray[np.float64]
    power: NDArray[np.float32]

    def levels_db(
        self, inside: NDArray[np.intp], rate_hz: float
    ) -> tuple[NDArray[np.float64], float]:
        """Level of each band in some frames, means of about `rate_hz` a second; and their rate.

        Args:
            inside: consecutive frames; those at the end that fill no mean are left out.
            rate_hz: no higher than the frames' own.
        """
        step = max(1, round(self.rate_hz / rate_hz))
        count = len(inside) // step
        power = self.power[:, inside[: count * step]].astype(np.float64)
        mean = power.reshape(len(power), count, step).mean(axis=2)
        return 10.0 * np.log10(mean + _FLOOR), self.rate_hz / step

    def as_recording(self) -> Recording:
        """The powers as channels of a recording, so that orders can be tracked in them."""
        return Recording(
            kind="sound",
            samples=self.power,
            rate_hz=self.rate_hz,
            start_s=float(self.time_s[0]) if len(self.time_s) else 0.0,
            channel_names=tuple(f"{low:.0f}-{high:.0f} Hz" for low, high in self.bands_hz),
        )


def loudness(recording: Recording, *, frame_rate_hz: float = FRAME_RATE_HZ) -> Loudness:
    """Band powers of a sound recording, channels averaged, block by block."""
    from scipy.fft import next_fast_len, rfft

    hop = max(1, round(recording.rate_hz / frame_rate_hz))
    size = max(hop, round(1.07 * hop))
    frames = max(0, (recording.length - size) // hop + 1)
    length = next_fast_len(size, real=True)
    window = np.hanning(size + 2)[1:-1].astype(np.float32)
    edges = [e for e in BAND_EDGES_HZ if e < 0.47 * recording.rate_hz]
    if len(edges) < 2:
        edges = [0.01 * recording.rate_hz, 0.45 * recording.rate_hz]
    bands = np.array([edges[:-1], edges[1:]]).T
    frequency = np.arange(length // 2 + 1) * (recording.rate_hz / length)
    share = _band_matrix(frequency, bands) * np.float32(2.0 / (length * float(np.sum(window**2))))
    power = np.empty((len(bands), frames), dtype=np.float32)
    per_block = max(1, round(_BLOCK_S * recording.rate_hz / hop))
    for first in range(0, frames, per_block):
        last = min(frames, first + per_block)
        piece = recording.samples[:, first * hop : (last - 1) * hop + size]
        views = np.lib.stride_tricks.sliding_window_view(piece, size, axis=1)[:, ::hop]
        spectrum = rfft(views * window, n=length, axis=2)
        squares = spectrum.real**2 + spectrum.imag**2
        power[:, first:last] = share @ squares.mean(axis=0).T
    frame = np.arange(frames, dtype=np.float64)
    centres = recording.start_s + (frame * hop + size / 2) / recording.rate_hz
    return Loudness(
        time_s=centres,
        rate_hz=recording.rate_hz / hop,
        bands_hz=bands,
        power=np.maximum(np.nan_to_num(power), np.float32(_FLOOR)),
    )


def _band_matrix(frequency: NDArray[np.float64], bands: NDArray[np.float64]) -> NDArray[np.float32]:
    """Share of each frequency cell that belongs to each band, shape (b, cells)."""
    cell = frequency[1] - frequency[0]
    low, high = frequency - 0.5 * cell, frequency + 0.5 * cell
    overlap = np.minimum(high, bands[:, 1:]) - np.maximum(low, bands[:, :1])
    return np.asarray(np.clip(overlap / cell, 0.0, 1.0), dtype=np.float32)
