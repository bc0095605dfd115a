"""The band that a recording really holds, read from its long-term spectrum.

Codecs, recorders and phone filters cut a band off; above the cut stands only their own floor, or
nothing.  The upper limit is the highest frequency whose level stands clear of that floor, or the
foot of the last cliff; the lower limit is where the high-pass filter ends.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# Smoothing in frequency: a twelfth of an octave, the finest that still calms 300 frames' scatter.
_SMOOTH_OCTAVES = 1 / 12
_POINTS_PER_OCTAVE = 24
# The floor of n-bit sound: the rounding error's variance is a twelfth of a squared step (Bennett
# 1948), spread evenly up to half the rate.  A lossy codec is judged as 16-bit sound.
_CODEC_BITS = 16
_CLEAR_OF_FLOOR_DB = 6.0
# A filter's or codec's edge: so much lower within this many octaves, and it never rises again.
_CLIFF_DB = 20.0
_CLIFF_OCTAVES = 1 / 6
_NEVER_AGAIN_DB = 12.0
# A high-pass filter of a phone falls by 12 dB an octave or more below its edge; the roll-off of a
# quiet machine does not go on falling like that down to the lowest frequency.
_LOW_END_DB = 30.0
_LOW_REFERENCE_HZ = 1000.0
LOWEST_HZ = 10.0


def usable_band(
    frequency_hz: NDArray[np.float64],
    spectrum: NDArray[np.float64],
    *,
    rate_hz: float,
    bits: int | None,
) -> tuple[float, float] | None:
    """Lowest and highest frequency in Hz that the recording holds, None if it holds nothing.

    Args:
        frequency_hz, spectrum: power per Hz, shape (m,).
        rate_hz: samples per second.
        bits: word length; None for a lossy codec.
    """
    grid, level = _smooth(frequency_hz, spectrum)
    step = 2.0 ** (1 - min(bits or _CODEC_BITS, 24))
    floor_db = 10 * np.log10(step**2 / 12 / (rate_hz / 2)) + _CLEAR_OF_FLOOR_DB
    clear = np.flatnonzero(level > floor_db)
    if not len(clear):
        return None
    top = min(int(clear[-1]), _last_cliff(level))
    bottom = _low_end(grid, level, top)
    if bottom >= top:
        return None
    # The last point stands for all up to half the rate.
    high = rate_hz / 2 if top == len(grid) - 1 else float(grid[top])
    return round(float(grid[bottom]), 1), round(high, 1)


def _smooth(
    frequency_hz: NDArray[np.float64], spectrum: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Level in dB per Hz on a logarithmic grid, mean over `_SMOOTH_OCTAVES` each."""
    top = frequency_hz[-1]
    octaves = np.log2(top / LOWEST_HZ)
    grid = top * 2.0 ** np.linspace(-octaves, -_SMOOTH_OCTAVES, round(octaves * _POINTS_PER_OCTAVE))
    sums = np.concatenate([[0.0], np.cumsum(spectrum)])
    half = 2.0 ** (_SMOOTH_OCTAVES / 2)
    first = np.searchsorted(frequency_hz, grid / half)
    last = np.maximum(first + 1, np.searchsorted(frequency_hz, grid * half))
    last = np.minimum(last, len(spectrum))
    first = np.minimum(first, last - 1)
    mean = (sums[last] - sums[first]) / (last - first)
    return grid, 10 * np.log10(np.maximum(mean, 1e-30))


def _last_cliff(level: NDArray[np.float64]) -> int:
    """Index of the last point before the lowest edge after which the level stays down."""
    reach = round(_CLIFF_OCTAVES * _POINTS_PER_OCTAVE)
    highest_after = np.maximum.accumulate(level[::-1])[::-1]
    drop = level[:-reach] - highest_after[reach:]
    edges = np.flatnonzero(drop > _CLIFF_DB)
    # A tone standing out of the spectrum is no edge: what lies before it must be high as well.
    for edge in edges:
        before = np.median(level[max(0, edge - 2 * reach) : edge + 1])
        if before - highest_after[edge + reach] > _NEVER_AGAIN_DB:
            return int(edge)
    return len(level) - 1


def _low_end(grid: NDArray[np.float64], level: NDArray[np.float64], top: int) -> int:
    """Index of the lowest point down to which the level has not yet fallen away for good."""
    reference = level[: top + 1][grid[: top + 1] <= _LOW_REFERENCE_HZ]
    if not len(reference):
        return 0
    enough = np.median(reference) - _LOW_END_DB
    return int(np.flatnonzero(level[: top + 1] > enough)[0])
