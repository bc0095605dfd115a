"""Frames: the time grid that all maps share, and how much of a frame is news."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Halves = NDArray[np.float16]

HOP_S = 0.3
# Frames that are worked on at once.
BLOCK_FRAMES = 32
# Recordings of this many frames are short enough to keep in memory what is asked for repeatedly.
FEW_FRAMES = 400


def blocks(frames: int, size: int = BLOCK_FRAMES) -> Iterator[slice]:
    """Consecutive slices of frames, so that long recordings need no more memory than short ones."""
    return (slice(k, min(k + size, frames)) for k in range(0, frames, size))


def news_share(frame_s: float, hop_s: float = HOP_S) -> float:
    """Share of a frame that the frame before did not hold; a Hann window acts half its length."""
    return min(1.0, 2.0 * hop_s / frame_s)


def news_of(time_s: NDArray[np.float64], frame_s: float) -> float:
    """`news_share` of frames by their centres; all of a frame is news if it is the only one."""
    hop_s = float(np.diff(time_s).min()) if len(time_s) > 1 else frame_s
    return news_share(frame_s, hop_s)
