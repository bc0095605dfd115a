"""Short clicks: relays, valves and the door lock.

A click is a jump of the power in several bands at once, within 10 ms, that only the room's ringing
outlasts: from its first moment on it falls as fast as a room of a second's reverberation lets it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.vibration.loudness import Loudness

LEAST_JUMP_DB = 9.0
LEAST_BANDS = 3
# Water slaps by ten decibels from one hundredth of a second to the next: a click stands out by so
# many times the usual departure (median of its size) from the level around.
LEAST_OVER_USUAL = 4.7
ATTACK_FRAMES = 2
_LEAD_FRAMES = 20  # without so much before it a jump cannot be told from the recording's own start
# After so many frames (200 a second) it must have fallen by so much: 60 dB in a second, the
# reverberation of a bare stone room (ISO 3382-2 defines it), less 1 dB of scatter.  Speech goes on.
FALL_DB = {14: 3.2, 26: 6.8, 44: 12.2}
_GONE_SHARE = 0.35  # of the jump, or as much as this is left of it
_AROUND_FRAMES = 161
_APART_S = 0.15


def clicks(sound: Loudness) -> tuple[float, ...]:
    """Times of clicks on the file's own clock."""
    from scipy.ndimage import median_filter

    if sound.power.shape[1] < 50:
        return ()
    level = 10.0 * np.log10(sound.power.astype(np.float64))
    # row by row: along one axis SciPy keeps a sorted window, which is many times faster
    around = np.stack([median_filter(row, _AROUND_FRAMES, mode="nearest") for row in level])
    jump = level - around
    usual = np.stack([median_filter(np.abs(row), _AROUND_FRAMES, mode="nearest") for row in jump])
    high = np.sum(jump > LEAST_JUMP_DB, axis=0) >= LEAST_BANDS
    edges = np.flatnonzero(np.diff(np.concatenate([[False], high, [False]]).astype(np.int8)))
    found: list[float] = []
    for first in edges[::2][edges[::2] >= _LEAD_FRAMES]:
        loud = jump[:, first : first + 3].max(axis=1)
        bands = loud > LEAST_JUMP_DB
        if not bands.any():
            continue
        peak = float(np.median(loud[bands]))
        before = float(np.median(jump[bands, max(0, first - ATTACK_FRAMES - 4) : first - 1]))
        stands = float(np.median(loud[bands] / np.maximum(usual[bands, first], 1e-9)))
        sudden = peak - before > LEAST_JUMP_DB and stands > LEAST_OVER_USUAL
        if not sudden or not _falls(jump[bands, first:], peak):
            continue
        time = float(sound.time_s[first])
        if not found or time - found[-1] > _APART_S:
            found.append(time)
    return tuple(found)


def _falls(after: NDArray[np.float64], peak: float) -> bool:
    """Whether what follows a peak falls as only a room's ringing does; `after` is (b, n), dB."""
    for frames, fall in FALL_DB.items():
        left = after[:, frames - 3 : frames + 4]
        if left.shape[1] and float(np.median(left)) > max(peak - fall, _GONE_SHARE * peak):
            return False
    return True
