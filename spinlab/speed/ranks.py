"""Ranks: order statistics of power along the last axis, where they take much of the time.

Power is never negative, and such floating-point numbers keep their order when their bits are read
as integers, which are sorted in half the time: no comparison has to think of NaN.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

F = TypeVar("F", bound=np.floating[Any])


def ranked(power: NDArray[F], rank: int) -> NDArray[F]:
    """The value of a rank along the last axis, 0 the least; `power` is nowhere below 0."""
    # copied, lest it hold all the others
    value: NDArray[F] = _parted(power, rank)[..., rank].copy().view(power.dtype)
    return value


def median(power: NDArray[F]) -> NDArray[F]:
    """The median along the last axis, as `numpy.median` has it; `power` is nowhere below 0."""
    half, odd = divmod(power.shape[-1], 2)
    # asked for one rank alone NumPy takes a far faster way than asked for two
    parted = _parted(power, half)
    upper: NDArray[F] = parted[..., half].copy().view(power.dtype)
    if odd:
        return upper
    lower: NDArray[F] = parted[..., :half].max(axis=-1).view(power.dtype)
    middle: NDArray[F] = ((lower + upper) / 2).astype(power.dtype)
    return middle


def _parted(power: NDArray[Any], rank: int) -> NDArray[Any]:
    """The bits of the values as integers, what lies below a rank before what lies above."""
    return np.partition(power.view(f"i{power.itemsize}"), rank, axis=-1)
