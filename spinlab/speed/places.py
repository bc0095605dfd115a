"""Places: where the orders of a course lie in spectra that follow it, and what stands there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats
from spinlab.speed.follow import Followed


@dataclass(frozen=True, kw_only=True, eq=False)
class Places:
    """Places between two bins, the same in all spectra that follow one course in equal frames.

    Attributes:
        whole: shape (frames, orders), the bin below, counted through all frames.
        part: shape (frames, orders), how far from there to the bin above.
        inside: shape (frames, orders), False where a place lies outside the band.
    """

    whole: NDArray[np.int64]
    part: Floats
    inside: NDArray[np.bool_]

    def values(self, followed: Floats) -> Floats:
        """Power over noise at the places, no matter what outside the band, (frames, orders)."""
        flat = followed.reshape(-1)
        low = flat.take(self.whole)
        value = flat[1:].take(self.whole)
        value -= low
        value *= self.part
        value += low
        return value


def places(
    followed: Followed,
    orders: NDArray[np.float64],
    frames: NDArray[np.bool_] | None = None,
) -> Places:
    """Places of orders of the course.

    Args:
        followed: spectra along the course.
        orders: shape (orders,).
        frames: shape (all frames,), those that are asked for; all where None.
    """
    rows = np.arange(len(followed.rate_hz)) if frames is None else np.flatnonzero(frames)
    bins = followed.ratio.shape[1]
    position = followed.rate_hz[rows, None] * orders[None, :] / followed.bin_hz
    inside = (position >= 1) & (position < bins - 1)
    np.clip(position, 0.0, float(bins - 2), out=position)
    whole = position.astype(np.int64)
    part = (position - whole).astype(np.float32)
    whole += rows[:, None] * bins
    return Places(whole=whole, part=part, inside=inside)


def at_orders(
    followed: Followed,
    orders: NDArray[np.float64],
    frames: NDArray[np.bool_] | None = None,
) -> Floats:
    """Power over noise at orders of the course, nan outside the band.

    Args:
        followed: spectra along the course.
        orders: shape (orders,).
        frames: shape (all frames,), those that are asked for; all where None.

    Returns:
        shape (frames, orders).
    """
    place = places(followed, orders, frames)
    value = place.values(followed.ratio)
    if not place.inside.all():
        value[~place.inside] = np.nan
    return value
