"""The inverter's switching tone: fixed in frequency, with sidebands that follow the motor.

The current in the windings mixes the carrier with the electrical frequency, so lines stand at
carrier +- 2 p x motor rate: two that move apart as the drum speeds up while their middle stays.
Found, it explains a whistle that is neither bearing nor belt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording

LOWEST_HZ, HIGHEST_HZ = 2500.0, 20000.0
CELL_HZ = 4.0
LEAST_EXCESS_DB = 6.0


@dataclass(frozen=True, kw_only=True)
class Carrier:
    """The carrier, or the reason why none is stated.

    Attributes:
        frequency_hz: middle of the pair of lines.
        pairs_found: plateaus on which both sidebands stand out.
        excess_db: mean level of the pair over the noise around it.
    """

    frequency_hz: float | None = None
    pairs_found: int = 0
    excess_db: float | None = None
    reason: str = ""


def carrier(
    recording: Recording, plateaus: list[tuple[float, float, float]], *, electrical_order: float
) -> Carrier:
    """Look for a carrier over plateaus of (start_s, end_s, speed_rpm).

    Args:
        recording: sound.
        plateaus: at least two with different speeds.
        electrical_order: twice the electrical frequency as an order of the drum (2 p x ratio).
    """
    if recording.rate_hz < 2.2 * LOWEST_HZ:
        return Carrier(reason="the recording ends below the range of carriers")
    speeds = np.array([speed for _, _, speed in plateaus])
    if len(plateaus) < 2 or np.ptp(speeds) < 100.0:
        return Carrier(reason="two plateaus at different speeds are needed to tell a carrier")
    white = [_whitened(recording, start, end) for start, end, _ in plateaus]
    frequency = np.arange(len(white[0])) * CELL_HZ
    top = min(HIGHEST_HZ, 0.46 * recording.rate_hz)
    grid = np.flatnonzero((frequency > LOWEST_HZ) & (frequency < top))
    score = np.zeros(len(grid))
    both = np.zeros(len(grid), dtype=int)
    for level, (_, _, speed) in zip(white, plateaus, strict=True):
        shift = round(electrical_order * speed / 60.0 / CELL_HZ)
        low = _peak_near(level, grid - shift)
        high = _peak_near(level, grid + shift)
        pair = np.minimum(low, high)
        score += np.clip(pair, 0.0, 20.0)
        both += pair > LEAST_EXCESS_DB
    best = int(np.argmax(score))
    mean = float(score[best] / len(plateaus))
    if both[best] < max(2, (2 * len(plateaus) + 2) // 3) or mean < LEAST_EXCESS_DB:
        return Carrier(reason="no pair of lines moves apart around a fixed middle")
    return Carrier(
        frequency_hz=float(frequency[grid[best]]), pairs_found=int(both[best]), excess_db=mean
    )


def _whitened(recording: Recording, start_s: float, end_s: float) -> NDArray[np.float64]:
    """Mean spectrum of a plateau in dB over its running median, in cells of 4 Hz."""
    from scipy.ndimage import median_filter

    piece = recording.cut(start_s, min(end_s, start_s + 6.0)).samples.mean(axis=0)
    size = round(recording.rate_hz / CELL_HZ)
    frames = len(piece) // size
    if frames == 0:
        return np.zeros(size // 2 + 1)
    blocks = piece[: frames * size].reshape(frames, size) * np.hanning(size).astype(np.float32)
    power = np.mean(np.abs(np.fft.rfft(blocks, axis=1)) ** 2, axis=0)
    level = 10.0 * np.log10(power + 1e-20)
    return np.asarray(level - median_filter(level, size=101, mode="nearest"))


def _peak_near(level: NDArray[np.float64], index: NDArray[np.int64]) -> NDArray[np.float64]:
    """Largest of a cell and its neighbours; outside the band nothing."""
    inside = (index > 1) & (index < len(level) - 2)
    safe = np.clip(index, 2, len(level) - 3)
    peak = np.maximum(np.maximum(level[safe - 1], level[safe]), level[safe + 1])
    return np.asarray(np.where(inside, peak, -20.0))
