"""The band in which one more good unit is expected, from few units and robustly.

The middle is a median and the spread a median absolute deviation, so that one odd unit among the
good ones moves neither.  Few units make a poor spread; places of one spectrum spread alike, so
each place's own variance is moderated by that of all of them (Smyth, Statistical Applications in
Genetics and Molecular Biology 3 (2004) 3), and one more unit is expected within Student's t of it
(Hahn and Meeker, Statistical Intervals, chapter 4: prediction of one further observation).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]

# Fewer recordings than this know no spread of their own.
LEAST_COUNT = 5
# Scale of a median absolute deviation for the normal law, and how much less it knows than a
# standard deviation (Rousseeuw and Croux, Journal of the American Statistical Association 88
# (1993) 1273-1283).
_MAD_SCALE = 1.4826
_MAD_EFFICIENCY = 0.37
# Variance of a median over that of a mean.
_MEDIAN_VARIANCE = float(np.pi / 2.0)
# Degrees of freedom that the common spread is worth: as many as Smyth's own examples find (value
# from memory), few enough for a place that spreads by itself to do so.
COMMON_FREEDOM = 8.0
# No two recordings of one unit agree better than this (common practice, no published source).
LEAST_SPREAD_DB = 1.0


def middle_and_spread(levels: Array) -> tuple[Array, Array]:
    """Median and moderated robust standard deviation of each place.

    Args:
        levels: shape (recordings, places), dB, nan where there is none.
    """
    count = np.isfinite(levels).sum(axis=0)
    known = count >= LEAST_COUNT
    middle, own = np.full(levels.shape[1], np.nan), np.full(levels.shape[1], np.nan)
    if not known.any():
        return middle, own
    middle[known] = np.nanmedian(levels[:, known], axis=0)
    away = np.nanmedian(np.abs(levels[:, known] - middle[known]), axis=0)
    # A median of few absolute deviations from their own median is too small by n / (n - 0.8)
    # (Croux and Rousseeuw, Computational Statistics 1 (1992) 411-428).
    own[known] = _MAD_SCALE * away * count[known] / (count[known] - 0.8)
    # The mean of deviations, not of their squares: those of few units scatter widely.
    common = float(np.mean(own[known]))
    freedom = own_freedom(len(levels))
    variance = (COMMON_FREEDOM * common**2 + freedom * own**2) / (COMMON_FREEDOM + freedom)
    return middle, np.maximum(np.sqrt(variance), LEAST_SPREAD_DB)


def own_freedom(count: int) -> float:
    """Degrees of freedom that a median absolute deviation of `count` values is worth."""
    return _MAD_EFFICIENCY * (count - 1)


def expected(middle: Array, spread: Array, count: int, *, confidence: float) -> tuple[Array, Array]:
    """Lowest and highest level of one more good unit."""
    reach = stats.t.ppf(0.5 + 0.5 * confidence, COMMON_FREEDOM + own_freedom(count))
    half = float(reach) * spread * float(np.sqrt(1.0 + _MEDIAN_VARIANCE / count))
    return middle - half, middle + half


def chance(level: Array, middle: Array, spread: Array, count: int) -> Array:
    """Probability that one more good unit stands this high or higher."""
    score = (level - middle) / (spread * np.sqrt(1.0 + _MEDIAN_VARIANCE / count))
    return np.asarray(stats.t.sf(score, COMMON_FREEDOM + own_freedom(count)))
