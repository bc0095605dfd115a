"""Spectra over time, computed block by block so that a long recording costs bounded memory.

Conventions: times in s on the file's own clock, frequencies in Hz, levels in dB of mean square
per frequency cell: re full scale squared for sound, re 1 (m/s2)^2 for acceleration.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording

# A picture has no more cells than a screen has room for.
MOST_COLUMNS = 1200
MOST_ROWS = 400
# Frames averaged into one column: enough to steady the level (standard deviation of the mean
# of 8 independent chi-square frames: 1.5 dB), few enough for a two-hour file.
MOST_FRAMES_PER_COLUMN = 8
# A longer frame would smear the drum's ramps, however slow the recording's rate.
LONGEST_FRAME_S = 2.0
# Frames overlap by at least a half, and by at most seven eighths where columns are to spare.
_SHORTEST_STEP = 1 / 8
_FLOOR_POWER = 1e-20


@dataclass(frozen=True, kw_only=True, eq=False)
class Spectrogram:
    """Level over time and frequency.

    Attributes:
        time_s: shape (n,), column centres on the file's own clock.
        frequency_hz: shape (m,), row centres from 0 upward.
        level_db: shape (m, n), mean square per cell in dB.
        unit: what 0 dB is.
    """

    time_s: NDArray[np.float64]
    frequency_hz: NDArray[np.float64]
    level_db: NDArray[np.float32]
    unit: str


def spectrogram(
    recording: Recording,
    *,
    max_hz: float,
    columns: int = MOST_COLUMNS,
    rows: int = MOST_ROWS,
) -> Spectrogram:
    """Mean spectrum in each of at most `columns` slices of time, from 0 to `max_hz`.

    Frames are Hann-windowed, at least half overlapping, freed of their mean (gravity, offset)
    and averaged in power over the frames of a slice and over the channels (Welch 1967).

    Args:
        recording: any recording of at least two samples.
        max_hz: highest frequency; cut to half the recording's rate.
        columns: most slices of time.
        rows: most cells of frequency.

    Returns:
        Levels in dB; cells without any energy stand at a floor of -200 dB.

    Raises:
        ValueError: the recording has fewer than two samples, or a bound is not positive.
    """
    if recording.length < 2 or max_hz <= 0 or columns < 1 or rows < 1:
        raise ValueError("a spectrogram needs two samples, and bounds above zero")
    top_hz = min(max_hz, recording.rate_hz / 2)
    finest = min(recording.rate_hz * rows / top_hz, recording.rate_hz * LONGEST_FRAME_S)
    size = int(np.clip(round(finest), 2, recording.length))
    spare = (recording.length - size) // columns
    step = max(1, int(np.clip(spare, size * _SHORTEST_STEP, size // 2)))
    starts = np.arange(0, recording.length - size + 1, step)
    kept = 1 + int(top_hz * size / recording.rate_hz)
    slices = np.array_split(starts, min(columns, len(starts)))
    power = np.stack([_mean_power(recording, _thin(part), size)[:kept] for part in slices], axis=1)
    centres = np.array([part.mean() for part in slices]) + size / 2
    return Spectrogram(
        time_s=recording.start_s + centres / recording.rate_hz,
        frequency_hz=np.arange(kept) * recording.rate_hz / size,
        level_db=(10 * np.log10(np.maximum(power, _FLOOR_POWER))).astype(np.float32),
        unit="dB re full scale" if recording.kind == "sound" else "dB re 1 m/s²",
    )


def _thin(starts: NDArray[np.int64]) -> NDArray[np.int64]:
    """At most `MOST_FRAMES_PER_COLUMN` of the frames, evenly spread."""
    if len(starts) <= MOST_FRAMES_PER_COLUMN:
        return starts
    picks = np.linspace(0, len(starts) - 1, MOST_FRAMES_PER_COLUMN).round().astype(int)
    return np.asarray(starts[picks], dtype=np.int64)


def _mean_power(recording: Recording, starts: NDArray[np.int64], size: int) -> NDArray[np.float64]:
    """Mean square per frequency cell (two-sided energy folded), averaged over frames."""
    from scipy.fft import rfft
    from scipy.signal.windows import hann

    window = hann(size, sym=False) if size > 2 else np.ones(size)
    total = np.zeros(size // 2 + 1)
    for start in starts:
        frame = recording.samples[:, start : start + size].astype(np.float64)
        frame[~np.isfinite(frame)] = 0.0
        frame = (frame - frame.mean(axis=1, keepdims=True)) * window
        spectrum = np.abs(rfft(frame, axis=1)) ** 2
        spectrum[:, 1 : (size + 1) // 2] *= 2  # the negative frequencies' share
        total += spectrum.mean(axis=0)
    scale: float = len(starts) * size * float(np.sum(window**2))
    return np.asarray(total / scale, dtype=np.float64)
