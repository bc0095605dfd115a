"""Envelopes of many carrier bands, and their spectra at the rates a drum can have.

A phone microphone hardly hears 6-25 Hz, but it hears broadband noise (bearings, water, air, belt)
whose loudness beats at the drum's rate.  Which carrier band beats most differs from machine to
machine (Antoni and Hanson 2010, HAL hal-00541703), so all are watched.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording

# Envelope samples per second: twice the highest modulation looked for, with room for the warp.
ENVELOPE_RATE_HZ = 160.0
# Below this a band holds a few orders, and their beats among themselves drown the noise's own.
LOWEST_CARRIER_HZ = 450.0
BANDS_PER_OCTAVE = 1.5
MAX_BANDS = 8


@dataclass(frozen=True, kw_only=True, eq=False)
class Envelopes:
    """Detrended log envelopes of the carrier bands.

    Attributes:
        rows: shape (bands + 1, n), one per band and last the mean of all.
        rate_hz: samples per second.
        start_s: time of the first sample.
    """

    rows: NDArray[np.float32]
    rate_hz: float
    start_s: float


def carrier_edges(rate_hz: float, highest_hz: float) -> NDArray[np.float64]:
    """Edges of the carrier bands, shape (bands, 2), Hz."""
    top = min(highest_hz, 0.45 * rate_hz)
    octaves = np.log2(max(top, 2 * LOWEST_CARRIER_HZ) / LOWEST_CARRIER_HZ)
    count = int(np.clip(np.floor(octaves * BANDS_PER_OCTAVE), 1, MAX_BANDS))
    edges = LOWEST_CARRIER_HZ * 2.0 ** (np.linspace(0, octaves, count + 1))
    return np.stack([edges[:-1], edges[1:]], axis=1)


def band_envelopes(recording: Recording, *, highest_hz: float) -> Envelopes:
    """Detrended log power of each carrier band, from short spectra, block by block.

    The mean of the log over the bins of a band is used: a steady tone in one bin then weighs no
    more than any other bin, while a loudness beat moves all of them together.
    """
    from scipy import fft

    hop = max(1, round(recording.rate_hz / ENVELOPE_RATE_HZ))
    frame = int(2 ** np.ceil(np.log2(hop * 1.5)))
    edges = carrier_edges(recording.rate_hz, highest_hz)
    bins = np.clip(np.round(edges * frame / recording.rate_hz).astype(int), 1, frame // 2)
    bins[:, 1] = np.maximum(bins[:, 1], bins[:, 0] + 1)
    bins = bins[np.r_[True, np.diff(bins[:, 0]) > 0]]
    window = np.hanning(frame + 1)[:-1].astype(np.float32)
    starts = np.concatenate([bins[:, 0], bins[-1:, 1]])
    rows = []
    per_block = max(1, int(20.0 * recording.rate_hz / hop))
    total = max(1, (recording.length - frame) // hop + 1)
    for first in range(0, total, per_block):
        count = min(per_block, total - first)
        part = recording.samples[:, first * hop : (first + count - 1) * hop + frame]
        mono = np.nan_to_num(part.mean(axis=0, dtype=np.float32))
        if len(mono) < frame:
            mono = np.pad(mono, (0, frame - len(mono)))
        frames = np.lib.stride_tricks.sliding_window_view(mono, frame)[::hop][:count]
        spectrum = fft.rfft(frames * window, axis=1)
        power = spectrum.real**2 + spectrum.imag**2
        log_power = np.log(power[:, : starts[-1] + 1] + np.float32(1e-14))
        sums = np.add.reduceat(log_power, starts[:-1], axis=1)
        sums[:, -1] -= log_power[:, starts[-1]] if log_power.shape[1] > starts[-1] else 0.0
        rows.append(sums / np.diff(starts))
    rate_hz = recording.rate_hz / hop
    flat = detrended(np.concatenate(rows).T.astype(np.float32), rate_hz)
    return Envelopes(
        rows=np.concatenate([flat, flat.mean(axis=0, keepdims=True)]),
        rate_hz=rate_hz,
        start_s=recording.start_s + 0.5 * frame / recording.rate_hz,
    )


def detrended(
    values: NDArray[np.float32], rate_hz: float, *, window_s: float = 1.5
) -> NDArray[np.float32]:
    """Log envelopes less their slow part and with single knocks limited, shape (bands, n).

    What is slower than the window (gain, speed, speech phrases) is taken out by a running mean; a
    knock or a syllable is limited at three robust standard deviations so that it cannot ring
    through a whole frame.
    """
    from scipy.ndimage import uniform_filter1d

    size = max(3, round(window_s * rate_hz)) | 1
    flat = values - uniform_filter1d(values, size, axis=1, mode="nearest")
    spread = uniform_filter1d(np.abs(flat), 4 * size, axis=1, mode="nearest") * 1.2533 + 1e-9
    return np.clip(flat, -3 * spread, 3 * spread).astype(np.float32)
