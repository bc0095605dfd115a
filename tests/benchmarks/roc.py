"""How well scores tell two groups apart: area under the curve, and detection at few false alarms.

Area: the share of pairs in which the faulty one scores higher, ties counting half (Mann and Whitney
1947; Hanley and McNeil, Radiology 143, 1982; cited from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

RESAMPLES = 400


def area(faulty: ArrayLike, healthy: ArrayLike) -> float:
    """Area under the receiver operating characteristic; nan where a group is empty."""
    from scipy.stats import rankdata

    bad, good = np.asarray(faulty, dtype=float), np.asarray(healthy, dtype=float)
    if not len(bad) or not len(good):
        return float("nan")
    rank = rankdata(np.concatenate([bad, good]))
    return float((rank[: len(bad)].sum() - len(bad) * (len(bad) + 1) / 2) / len(bad) / len(good))


def area_interval(
    faulty: Sequence[float], healthy: Sequence[float], *, seed: int = 0
) -> tuple[float, float]:
    """95 % interval of the area by resampling both groups (Efron's percentile bootstrap)."""
    rng = np.random.default_rng(seed)
    bad, good = np.asarray(faulty, dtype=float), np.asarray(healthy, dtype=float)
    if len(bad) < 2 or len(good) < 2:
        return 0.0, 1.0
    drawn = [area(rng.choice(bad, len(bad)), rng.choice(good, len(good))) for _ in range(RESAMPLES)]
    low, high = np.quantile(drawn, (0.025, 0.975))
    return float(low), float(high)


def threshold(healthy: ArrayLike, false_alarms: float = 0.01) -> float:
    """The score that at most this share of healthy units exceeds."""
    score: NDArray[np.float64] = np.sort(np.asarray(healthy, dtype=float))[::-1]
    if not len(score):
        return float("inf")
    return float(score[min(int(false_alarms * len(score)), len(score) - 1)])
