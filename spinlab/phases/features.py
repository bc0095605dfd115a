"""What each half second of a recording is like: level, colour and standing tones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.vibration.loudness import Loudness

FRAME_S = 0.5
LOG_BANDS_HZ = (0.6, 4.0, 8.0, 13.0, 19.0, 25.5, 33.0, 40.0, 60.0, 100.0, 200.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Features:
    """Band levels on frames of half a second.

    Attributes:
        time_s: shape (n,), frame centres.
        bands_hz: shape (b, 2).
        band_db: shape (b, n), level of each band.
        level: shape (n,), RMS: m/s2 for acceleration (gravity removed), full scale for sound.
        steadiness_db: shape (n,), spread of the level within the frame's surroundings of 2 s.
    """

    time_s: NDArray[np.float64]
    bands_hz: NDArray[np.float64]
    band_db: NDArray[np.float64]
    level: NDArray[np.float64]
    steadiness_db: NDArray[np.float64]


def sound_features(sound: Loudness) -> Features:
    """From band powers at 200 frames a second: medians, so that a click does not count."""
    per_frame = max(1, round(FRAME_S * sound.rate_hz))
    count = sound.power.shape[1] // per_frame
    blocks = sound.power[:, : count * per_frame].reshape(len(sound.power), count, per_frame)
    power = np.median(blocks.astype(np.float64), axis=2) / np.log(2.0) ** 0.5
    level = np.sqrt(power.sum(axis=0))
    return Features(
        time_s=sound.time_s[0] + (np.arange(count) + 0.5) * per_frame / sound.rate_hz
        if count
        else np.zeros(0),
        bands_hz=sound.bands_hz,
        band_db=10.0 * np.log10(power + 1e-16),
        level=level,
        steadiness_db=_spread(20.0 * np.log10(level + 1e-8)),
    )


def log_features(recording: Recording) -> Features:
    """From an acceleration log: power of all axes in bands, gravity and drift removed."""
    size = max(8, round(2.0 * FRAME_S * recording.rate_hz))
    hop = max(1, round(FRAME_S * recording.rate_hz))
    count = max(0, (recording.length - size) // hop + 1)
    edges = [e for e in LOG_BANDS_HZ if e < 0.5 * recording.rate_hz]
    edges.append(0.5 * recording.rate_hz)
    bands = np.array([edges[:-1], edges[1:]]).T
    frequency = np.fft.rfftfreq(size, 1.0 / recording.rate_hz)
    window = np.hanning(size + 2)[1:-1]
    power = np.zeros((len(bands), count))
    for k in range(count):
        x = recording.samples[:, k * hop : k * hop + size].astype(np.float64)
        x = (x - x.mean(axis=1, keepdims=True)) * window
        spectrum = np.sum(np.abs(np.fft.rfft(x, axis=1)) ** 2, axis=0)
        spectrum *= 2.0 / (size * np.sum(window**2))
        for b, (low, high) in enumerate(bands):
            power[b, k] = spectrum[(frequency >= low) & (frequency < high)].sum()
    level = np.sqrt(power.sum(axis=0))
    return Features(
        time_s=recording.start_s
        + (np.arange(count, dtype=np.float64) * hop + size / 2) / recording.rate_hz,
        bands_hz=bands,
        band_db=10.0 * np.log10(power + 1e-12),
        level=level,
        steadiness_db=_spread(20.0 * np.log10(level + 1e-8)),
    )


def _spread(level_db: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard deviation over five frames around each."""
    if len(level_db) < 5:
        return np.zeros_like(level_db)
    views = np.lib.stride_tricks.sliding_window_view(np.pad(level_db, 2, mode="edge"), 5)
    return np.asarray(views.std(axis=1))


def standing_lines(
    recording: Recording, start_s: float, end_s: float, *, highest_hz: float = 700.0
) -> tuple[tuple[float, float], ...]:
    """Tones that stand still through a stretch: (frequency in Hz, dB over the noise around).

    The stretch is cut in pieces of four seconds; a line must stand out in the median of all of
    them, which a tone that moves with a drum does not.
    """
    from scipy.ndimage import median_filter

    piece = recording.cut(start_s, end_s)
    factor = max(1, int(recording.rate_hz // (2.6 * highest_hz)))
    x = piece.samples.astype(np.float64)
    if factor > 1:
        x = x[:, : x.shape[1] // factor * factor].reshape(len(x), -1, factor).mean(axis=2)
    rate = recording.rate_hz / factor
    size = min(x.shape[1], round(4.0 * rate))
    if size < 64:
        return ()
    window = np.hanning(size + 2)[1:-1]
    starts = np.arange(0, x.shape[1] - size + 1, max(1, size // 2))
    starts = starts[:: max(1, len(starts) // 20)]
    frames = np.stack([x[:, s : s + size] for s in starts])
    frames = (frames - frames.mean(axis=2, keepdims=True)) * window
    power = np.sum(np.abs(np.fft.rfft(frames, axis=2)) ** 2, axis=1)
    middle = np.median(power, axis=0)
    level = 10.0 * np.log10(middle + 1e-20)
    excess = level - median_filter(level, size=41, mode="nearest")
    low = int(3.0 * size / rate)
    peaks = [
        k
        for k in range(max(low, 2), len(excess) - 2)
        if excess[k] > 10.0 and excess[k] == excess[k - 2 : k + 3].max()
    ]
    peaks.sort(key=lambda k: -level[k])
    return tuple((float(_vertex(level, k) * rate / size), float(excess[k])) for k in peaks[:8])


def is_mains(frequency_hz: float) -> bool:
    """Within 1 Hz of an even harmonic of 50 or 60 Hz: what a synchronous pump hums."""
    return any(
        abs(frequency_hz - k * mains) < 1.0 for mains in (50.0, 60.0) for k in (1, 2, 3, 4, 6)
    )


def mains_excess_db(lines: Sequence[tuple[float, float]]) -> float:
    """Sum over the standing tones (Hz, dB) that are the mains' by how far they stand out, dB."""
    return float(sum(excess for frequency, excess in lines if is_mains(frequency)))


def _vertex(level: NDArray[np.float64], k: int) -> float:
    bend = level[k - 1] - 2 * level[k] + level[k + 1]
    if bend == 0.0:
        return float(k)
    return float(k + 0.5 * (level[k - 1] - level[k + 1]) / bend)
