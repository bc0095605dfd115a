"""Pieces: the stretches of a run in which the speed stands."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# A piece of a path stands while this many frames stay within this width of ln(speed).
STILL_FRAMES = 10
STILL_WIDTH = 0.02


def still_pieces(
    log_hz: NDArray[np.float64], run: NDArray[np.int64]
) -> tuple[NDArray[np.int64], ...]:
    """Frames of each piece of a run in which the speed stands."""
    found: list[NDArray[np.int64]] = []
    for number in np.unique(run):
        frames = np.flatnonzero(run == number)
        still = np.zeros(len(frames), bool)
        for first in range(len(frames) - STILL_FRAMES + 1):
            if np.ptp(log_hz[frames[first : first + STILL_FRAMES]]) < STILL_WIDTH:
                still[first : first + STILL_FRAMES] = True
        edges = np.flatnonzero(np.diff(still.astype(int), prepend=0, append=0)).reshape(-1, 2)
        found += [frames[first:last] for first, last in edges]
    return tuple(found)
