"""Short clicks: relays, valves and the door lock.

A click is a jump of the power in several bands at once, within 10 ms, that only the room's ringing
outlasts.
"""

from __future__ import annotations

import numpy as np

from spinlab.vibration.loudness import Loudness

LEAST_JUMP_DB = 9.0
LEAST_BANDS = 3
LONGEST_FRAMES = 14  # 70 ms at 200 frames a second: the room rings on after a click
ATTACK_FRAMES = 2
TAIL_FRAMES = slice(16, 30)  # 80 to 150 ms later most of it must be gone; speech goes on
_APART_S = 0.15


def clicks(sound: Loudness) -> tuple[float, ...]:
    """Times of clicks on the file's own clock."""
    from scipy.ndimage import median_filter

    if sound.power.shape[1] < 50:
        return ()
    level = 10.0 * np.log10(sound.power.astype(np.float64))
    # row by row: along one axis SciPy keeps a sorted window, which is many times faster
    around = np.stack([median_filter(row, 61, mode="nearest") for row in level])
    jump = level - around
    high = np.sum(jump > LEAST_JUMP_DB, axis=0) >= LEAST_BANDS
    edges = np.flatnonzero(np.diff(np.concatenate([[False], high, [False]]).astype(np.int8)))
    found: list[float] = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        peak = float(np.median(jump[:, first : first + 3].max(axis=1)))
        before = float(np.median(jump[:, max(0, first - ATTACK_FRAMES - 4) : first - 1]))
        sudden = peak - before > LEAST_JUMP_DB
        tail = jump[:, first:][:, TAIL_FRAMES]
        gone = tail.size == 0 or float(np.median(tail)) < 0.35 * peak
        if last - first > LONGEST_FRAMES or not sudden or not gone:
            continue
        time = float(sound.time_s[first])
        if not found or time - found[-1] > _APART_S:
            found.append(time)
    return tuple(found)
