"""Frames: the time grid that all maps share, and how much of a frame is news."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

# Values kept as `room` has it.
Short = NDArray[np.floating[Any]]

HOP_S = 0.3
# Frames that are worked on at once.
BLOCK_FRAMES = 32
# The same for maps of many chirp rates, several passes over which are then made in the cache.
CACHED_FRAMES = 8
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


# Bits of a number's fraction in single precision beyond those in half precision, and the ratio of
# numbers whose exponents have the same bits in both (IEEE 754: biases of 127 and 15).
SURPLUS_BITS = 13
BIAS_RATIO = np.float32(2.0**112)
SIGN, REST = np.uint32(0x8000), np.uint32(0x7FFF)


def room(frames: int, *shape: int) -> Short:
    """Zeros of shape (frames, ...) to `put` values into: half precision where there are many."""
    return np.zeros((frames, *shape), np.float32 if frames <= FEW_FRAMES else np.float16)


def put(values: NDArray[np.float32], into: Short) -> None:
    """Put values by with the precision of half a word, whatever the type they are kept in.

    Where there is room for single precision they are only rounded alike (Dekker 1971, "A
    floating-point technique for extending the available precision", Numer. Math. 18:224-242), so
    that a short recording is told the same as a part of a long one.
    """
    if into.dtype == np.float16:
        into[...] = values
        return
    large = values * np.float32(2**SURPLUS_BITS + 1)
    np.subtract(large, large - values, out=into)


def single(kept: Short) -> NDArray[np.float32]:
    """What was `put` by, in single precision; the very same array if it is kept so.

    The bits of finite numbers are moved by hand, in a third of the time that NumPy takes.
    """
    if kept.dtype == np.float32:
        return kept.astype(np.float32, copy=False)
    bits = kept.view(np.uint16).astype(np.uint32)
    bits = (bits & SIGN) << np.uint32(16) | (bits & REST) << np.uint32(SURPLUS_BITS)
    values = bits.view(np.float32)
    values *= BIAS_RATIO
    return values
