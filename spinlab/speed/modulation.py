"""Envelopes of many carrier bands, and their spectra at the rates a drum can have.

A phone microphone hardly hears 6-25 Hz, but it hears broadband noise (bearings, water, air, belt)
whose loudness beats at the drum's rate.  Which carrier band beats most differs from machine to
machine (Antoni and Hanson 2010, HAL hal-00541703), so all are watched.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.bands import finite

# Envelope samples per second: twice the highest modulation looked for, with room for the warp.
ENVELOPE_RATE_HZ = 160.0
LOWEST_CARRIER_HZ = 200.0
BANDS_PER_OCTAVE = 3.0
MAX_BANDS = 16
# Power of each bin over its own mean, raised to this: against the plain power, a knock or a
# syllable weighs less; against the logarithm, the silent instants of noise do.
COMPRESSION = 0.7
SLOW_S = 1.5
# A bin may not exceed its own mean by more than this many times it.
HIGHEST_EXCESS = 3.0
BLOCK_S = 20.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Envelopes:
    """Detrended envelopes of the carrier bands.

    Attributes:
        rows: shape (bands + 1, n), one per band and last the mean of all.
        rate_hz: samples per second.
        start_s: time of the first sample.
    """

    rows: NDArray[np.float32]
    rate_hz: float
    start_s: float

    def paired(self) -> Envelopes:
        """The same with neighbouring bands joined, for a first look at half the work."""
        bands = self.rows[:-1]
        joined = [bands[k : k + 2].mean(axis=0) for k in range(0, len(bands), 2)]
        return replace(self, rows=np.stack([*joined, self.rows[-1]]))


def carrier_edges(rate_hz: float, highest_hz: float) -> NDArray[np.float64]:
    """Edges of the carrier bands, shape (bands, 2), Hz."""
    top = min(highest_hz, 0.45 * rate_hz)
    octaves = np.log2(max(top, 2 * LOWEST_CARRIER_HZ) / LOWEST_CARRIER_HZ)
    count = int(np.clip(np.floor(octaves * BANDS_PER_OCTAVE), 1, MAX_BANDS))
    edges = LOWEST_CARRIER_HZ * 2.0 ** (np.linspace(0, octaves, count + 1))
    return np.stack([edges[:-1], edges[1:]], axis=1)


def band_envelopes(recording: Recording, *, highest_hz: float) -> Envelopes:
    """Detrended loudness of each carrier band, from short spectra, block by block.

    Each bin is taken relative to its own mean over a second or two before the bins of a band are
    averaged: a steady tone then weighs no more than any other bin and brings less noise, while a
    loudness beat moves all of them together.
    """
    hop = max(1, round(recording.rate_hz / ENVELOPE_RATE_HZ))
    frame = int(2 ** np.ceil(np.log2(hop * 1.5)))
    edges = carrier_edges(recording.rate_hz, highest_hz)
    bins = np.clip(np.round(edges * frame / recording.rate_hz).astype(int), 1, frame // 2)
    bins[:, 1] = np.maximum(bins[:, 1], bins[:, 0] + 1)
    bins = bins[np.r_[True, np.diff(bins[:, 0]) > 0]]
    starts = np.concatenate([bins[:, 0], bins[-1:, 1]])
    rate_hz = recording.rate_hz / hop
    size = max(3, round(SLOW_S * rate_hz)) | 1
    total = max(1, (recording.length - frame) // hop + 1)
    step = max(1, int(BLOCK_S * rate_hz))
    rows = []
    for first in range(0, total, step):
        begin, end = max(0, first - size), min(total, first + step + size)
        loudness = _loudness(recording, begin, end, hop=hop, frame=frame, highest=int(starts[-1]))
        sums = np.add.reduceat(_excess(loudness, size), starts[:-1], axis=1)
        rows.append((sums / np.diff(starts))[first - begin : first - begin + step])
    flat = detrended(np.concatenate(rows).T.astype(np.float32), rate_hz)
    return Envelopes(
        rows=np.concatenate([flat, flat.mean(axis=0, keepdims=True)]),
        rate_hz=rate_hz,
        start_s=recording.start_s + 0.5 * frame / recording.rate_hz,
    )


def _loudness(
    recording: Recording, begin: int, end: int, *, hop: int, frame: int, highest: int
) -> NDArray[np.float32]:
    """Compressed power of the bins below `highest` of frames `begin` to `end`."""
    from scipy import fft

    part = recording.samples[:, begin * hop : (end - 1) * hop + frame]
    mono = finite(part.mean(axis=0, dtype=np.float32))
    mono = np.pad(mono, (0, max(0, (end - begin - 1) * hop + frame - len(mono))))
    frames = np.lib.stride_tricks.sliding_window_view(mono, frame)[::hop]
    window = np.hanning(frame + 1)[:-1].astype(np.float32)
    spectrum = fft.rfft(frames * window, axis=1)[:, :highest]
    power = spectrum.real**2 + spectrum.imag**2
    power += np.float32(1e-14)
    loudness: NDArray[np.float32] = power**COMPRESSION
    return loudness


def _excess(loudness: NDArray[np.float32], size: int) -> NDArray[np.float32]:
    """Loudness of each bin over its running mean, less one, limited."""
    from scipy.ndimage import uniform_filter1d

    mean = uniform_filter1d(loudness, size, axis=0, mode="nearest")
    excess: NDArray[np.float32] = np.clip(loudness / mean - 1.0, -1.0, HIGHEST_EXCESS)
    return excess


def detrended(values: NDArray[np.float32], rate_hz: float) -> NDArray[np.float32]:
    """Envelopes less their slow part and with single knocks limited, shape (bands, n).

    What is slower than the window (gain, speed, speech phrases) is taken out by a running mean; a
    knock or a syllable is limited at three robust standard deviations so that it cannot ring
    through a whole frame.
    """
    from scipy.ndimage import uniform_filter1d

    size = max(3, round(SLOW_S * rate_hz)) | 1
    flat = values - uniform_filter1d(values, size, axis=1, mode="nearest")
    spread = uniform_filter1d(np.abs(flat), 4 * size, axis=1, mode="nearest") * 1.2533 + 1e-9
    return np.clip(flat, -3 * spread, 3 * spread).astype(np.float32)
