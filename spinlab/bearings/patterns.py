"""Which lines make a family, and how much each of them may count."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOST_HARMONICS = 5
# p = 1.5e-8 for one line: two such lines pass every correction made here, one does not.
HIGHEST = 18.0
# Likewise a harmonic with its sidebands by itself: by so much more for each of them.  Images and
# beats of a strong comb stand one order apart, as sidebands do.
_SIDE_COUNTS = 3.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Pattern:
    """Which lines make a family: line i lies at `multiple[i]` x order + `offset[i]`.

    Attributes:
        multiple, offset: shape (lines,), harmonic after harmonic.
        smear: shape (lines,), by how much a line is wider than its share of the relative width.
        sides: sidebands of each harmonic.
    """

    multiple: Array
    offset: Array
    smear: Array
    sides: int = 0


def harmonics_pattern(count: int = MOST_HARMONICS, *, random_walk: bool = False) -> Pattern:
    """Harmonics alone.

    Args:
        count: how many.
        random_walk: intervals between blows scatter by themselves; the phase then walks at
            random and the h-th line is h^2 times as wide as the first (Randall and Antoni 2011).
    """
    h = np.arange(1.0, count + 1.0)
    return Pattern(multiple=h, offset=np.zeros(count), smear=h if random_walk else np.ones(count))


def sidebands_pattern(step: float, sides: int, count: int = 3) -> Pattern:
    """Harmonics with their sidebands: a load that turns with ring or cage passes the damage.

    A damaged inner race under a narrow load zone puts more than half of its power there (Randall
    and Antoni, Mechanical Systems and Signal Processing 25 (2011) 485-520, section 2).

    Args:
        step: spacing of the sidebands, in orders.
        sides: sidebands either side of each harmonic.
        count: harmonics.
    """
    h = np.repeat(np.arange(1.0, count + 1.0), 2 * sides + 1)
    offset = step * np.tile(np.arange(-sides, sides + 1.0), count)
    return Pattern(multiple=h, offset=offset, smear=np.ones(len(h)), sides=2 * sides)


def carried_pattern(cage: float, shaft: float, count: int) -> Pattern:
    """Harmonics of what a cage carries, and the lines at which it meets a load that turns.

    Blows once per turn of the cage are as strong as the load just there.  A load that stands
    still keeps them at the cage's harmonics; one that turns with the shaft, unbalance, passes the
    cage shaft - cage times per turn.  Met by all blows on the average that is a line by itself;
    met by blows once per turn of the cage it is |shaft - 2 cage|.  A damaged ball, struck many
    times while the cage turns once, leaves both as well.

    Args:
        cage, shaft: their orders.
        count: harmonics.
    """
    plain = harmonics_pattern(count, random_walk=True)
    sign = 1.0 if shaft > 2.0 * cage else -1.0
    return Pattern(
        multiple=np.append(plain.multiple, [-1.0, -2.0 * sign]),
        offset=np.append(plain.offset, [shaft, shaft * sign]),
        smear=np.append(plain.smear, [1.0, 1.0]),
    )


def counted(nepers: Array, pattern: Pattern) -> Array:
    """Sum of a family's nepers, no line and no harmonic counted for more than it may.

    Args:
        nepers: shape (..., lines).
        pattern: which lines they are.
    """
    capped = np.minimum(nepers, HIGHEST)
    if pattern.sides:
        lines = 1 + pattern.sides
        groups = capped.reshape(*capped.shape[:-1], -1, lines).sum(axis=-1)
        capped = np.minimum(groups, HIGHEST + _SIDE_COUNTS * pattern.sides)
    total: Array = capped.sum(axis=-1)
    return total
