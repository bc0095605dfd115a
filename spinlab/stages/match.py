"""Which held speed answers which expected one: by order and by nearness."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

# A drum that holds a speed this far off the one asked for is still trying for it; beyond, the
# plateau was missed and the speed is another one.  Common practice, no published source.
STILL_MEANT_SHARE = 0.12
# Held speeds at least this sure are alike, so that the first of several spins is taken.
SURE = 0.85


def match(
    expected_rpm: Sequence[float],
    held_rpm: Sequence[float],
    *,
    confidence: Sequence[float] | None = None,
) -> dict[int, int]:
    """Pair expected and held speeds, both in their order, so that the pairs are nearest.

    The cheapest alignment of the two sequences (Needleman and Wunsch 1970): a pair costs its
    departure as a share of the largest allowed, an expected speed that stays alone costs one, and
    a held one as much as it is sure (one from `SURE` on).  Of two equal answers the earlier held
    speed is taken.

    Args:
        expected_rpm: the programme's speeds, in its order.
        held_rpm: the measured speeds, in time order.
        confidence: how sure each of them is, 0 to 1; 1 if not given.

    Returns:
        Index into `held_rpm` for each index into `expected_rpm` that has a partner.

    >>> match([400, 1200, 1400], [401, 1199, 1330])
    {0: 0, 1: 1, 2: 2}
    >>> match([400, 1200, 1400], [401, 1199])
    {0: 0, 1: 1}
    """
    rows, columns = len(expected_rpm), len(held_rpm)
    alone = [1.0] * columns
    if confidence is not None:
        alone = [1.0 if share >= SURE else float(share) for share in confidence]
    cost = np.zeros((rows + 1, columns + 1))
    cost[:, 0], cost[0, 1:] = np.arange(rows + 1), np.cumsum(alone)
    for i, asked in enumerate(expected_rpm):
        for j, held in enumerate(held_rpm):
            apart = min(cost[i, j + 1] + 1.0, cost[i + 1, j] + alone[j])
            cost[i + 1, j + 1] = min(apart, cost[i, j] + _departure(asked, held))
    pairs: dict[int, int] = {}
    i, j = rows, columns
    while i and j:
        if np.isclose(cost[i, j], cost[i, j - 1] + alone[j - 1]):
            j -= 1
        elif np.isclose(cost[i, j], cost[i - 1, j] + 1.0):
            i -= 1
        else:
            i, j = i - 1, j - 1
            pairs[i] = j
    return dict(sorted(pairs.items()))


def _departure(asked: float, held: float) -> float:
    share = abs(held / asked - 1.0) / STILL_MEANT_SHARE
    return share if share <= 1.0 else np.inf
