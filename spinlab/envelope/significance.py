"""How strong a line must be before chance stops explaining it.

The squared magnitude of a Fourier line of noise follows the chi-square law with two degrees of
freedom: over its own mean it is exponential, P(line > u) = exp(-u).  Sums of h independent lines
over their mean follow chi2(2h)/2, the gamma law of shape h.  Looking at many lines raises the
odds that one of them is high: Sidak's correction, 1 - (1 - p)^n.

Probabilities are carried as natural logarithms, because they become very small.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Array = NDArray[np.float64]

# Squared correlation of neighbouring periodogram lines under a Hann window: the window's
# transform is (-1/4, 1/2, -1/4), so neighbours share (2/3)^2 and second neighbours (1/6)^2.
HANN_CORRELATION = (4.0 / 9.0, 1.0 / 36.0)
# Width over which a Hann window gathers noise, in lines (Harris 1978, Proc. IEEE 66, table 1).
HANN_NOISE_LINES = 1.5
# Median of the unit exponential law.
_MEDIAN_OF_EXPONENTIAL = float(np.log(2.0))
# A median of 48 exponential lines is known to 20 %, 1 dB; fewer would make levels of their own.
FEWEST_LINES = 48
# Of n Hann lines of noise the median over ln 2 has variance 2.1/n and bias 1.3/n, as Monte Carlo
# of this very procedure gives for n = 24 to 200 (independent lines: 1/(n ln^2 2) = 2.08/n).
FLOOR_SHAPE_PER_LINE = 0.48
_MEDIAN_BIAS = 1.3


def line_threshold(p: float, *, harmonics: int = 1, lines: int = 1) -> float:
    """Level, in multiples of the mean noise line, that chance passes with probability `p`.

    Args:
        p: probability that the highest of `lines` sums passes the level.
        harmonics: independent lines added up in each sum.
        lines: sums looked at.
    """
    single = -np.expm1(np.log1p(-p) / lines)
    return float(special.gammainccinv(harmonics, single))


def log_survival(shape: ArrayLike, total: ArrayLike, floor_shape: ArrayLike = np.inf) -> Array:
    """Natural log of P(X > total) for a sum of noise lines over their estimated mean.

    With the mean known (`floor_shape` infinite) X follows the gamma law of this shape.  With the
    mean itself read from noise, as a gamma variable of shape `floor_shape` and mean one, X over
    the shape follows Fisher's F law with (2 shape, 2 floor_shape) degrees of freedom.

    Lugannani and Rice's uniform tail formula (Advances in Applied Probability 12 (1980)
    475-490): within 0.05 for shape >= 1, and accurate where the probability itself underflows.

    Args:
        shape: half the degrees of freedom of the sum, at least about one.
        total: the sum, in multiples of the mean line.
        floor_shape: half the degrees of freedom behind the mean.
    """
    # Shapes stay as small as they come: most of the time goes into full-sized arrays.
    a, x = np.asarray(shape, float), np.asarray(total, float)
    m = np.minimum(np.asarray(floor_shape, float), 1e12)
    ratio = np.maximum(x, 1e-12) / a
    above = ratio - 1.0
    gap = (1.0 + m / a) * np.log1p(above * (a / (a + m))) - np.log(ratio)
    eta = np.copysign(np.sqrt(2.0 * np.maximum(gap, 0.0)), above)
    v = above * np.sqrt(m * (a + m)) / (a * ratio + m)
    near = np.abs(eta) < 1e-3
    with np.errstate(divide="ignore", invalid="ignore"):
        bend = np.where(near, -1.0 / 3.0, 1.0 / v - 1.0 / eta)
    # erfc(y)/2 = exp(-y^2) erfcx(y)/2, so that both terms share one exponential.
    y = np.maximum(eta * np.sqrt(a / 2.0), -5.0)
    factor = 0.5 * special.erfcx(y) + bend / np.sqrt(2.0 * np.pi * a)
    result: Array = np.log(np.maximum(factor, 1e-300)) - y * y
    return np.minimum(result, 0.0)


def log_any(log_p: ArrayLike, trials: ArrayLike) -> Array:
    """Natural log of the probability that one of `trials` independent looks is this rare."""
    p = np.exp(np.minimum(np.asarray(log_p, float), -1e-12))
    exact = np.log(-np.expm1(np.asarray(trials) * np.log1p(-np.minimum(p, 1 - 1e-12))) + 1e-300)
    # Below 1e-12 the sum of the trials is exact to the last digit and cannot underflow.
    rare: Array = np.asarray(log_p, float) + np.log(np.asarray(trials, float))
    return np.minimum(np.where(p < 1e-12, rare, exact), 0.0)


def box_variance(lines: ArrayLike) -> Array:
    """Variance of the sum of n neighbouring Hann lines of unit-mean noise."""
    n = np.asarray(lines, float)
    first, second = HANN_CORRELATION
    variance: Array = n + 2 * np.maximum(n - 1, 0) * first + 2 * np.maximum(n - 2, 0) * second
    return variance


def box_log_survival(total: ArrayLike, lines: ArrayLike, floor_shape: ArrayLike = np.inf) -> Array:
    """Natural log of P that noise fills `lines` neighbouring Hann lines to `total` (mean 1 each).

    The sum is matched to the gamma law with the same mean and variance (Welch-Satterthwaite);
    `floor_shape` as in `log_survival`.
    """
    n = np.maximum(np.asarray(lines, float), 1.0)
    variance = box_variance(n)
    return log_survival(n * n / variance, np.asarray(total, float) * n / variance, floor_shape)


@dataclass(frozen=True, kw_only=True, eq=False)
class NoiseFloor:
    """The mean noise line around each line of a spectrum.

    Attributes:
        level: shape (..., n), same unit as the power.
        shape: shape (n,), half the degrees of freedom behind it (for `log_survival`).
    """

    level: Array
    shape: Array


def noise_floor(
    power: Array, step: float, *, least_width: float = 0.25, share: float = 0.06, first: int = 0
) -> NoiseFloor:
    """Mean noise line around each line of a power spectrum, read from medians.

    Blocks of lines are `least_width` wide, or `share` of their own position where that is more;
    each block's median over ln 2 estimates the mean of an exponential law and lines that stand
    out hardly move it.

    Args:
        power: shape (..., n).
        step: distance of two lines, in the unit of `least_width`.
        least_width: narrowest block.
        share: block width as a share of the position.
        first: lines before it say nothing of the floor; theirs is that of the first block.
    """
    n = power.shape[-1]
    edges = [first, max(first + FEWEST_LINES, round(least_width / step))] if first else [0]
    while edges[-1] < n:
        width = max(least_width, share * edges[-1] * step) / step
        edges.append(edges[-1] + max(FEWEST_LINES, round(width)))
    edges[-1] = n
    if len(edges) > 2 and edges[-1] - edges[-2] < FEWEST_LINES:
        edges.pop(-2)
    blocks = list(itertools.pairwise(edges))
    centres = np.array([(a + b - 1) / 2 for a, b in blocks])
    counts = np.array([b - a for a, b in blocks], dtype=float)
    medians = np.stack([np.median(power[..., a:b], axis=-1) for a, b in blocks], axis=-1)
    levels = medians / (_MEDIAN_OF_EXPONENTIAL * (1.0 + _MEDIAN_BIAS / counts))
    place = np.interp(np.arange(n), centres, np.arange(len(centres)))
    left = np.minimum(place.astype(np.int64), max(0, len(centres) - 2))
    right = np.minimum(left + 1, len(centres) - 1)
    rightness = place - left
    floor: Array = levels[..., left] * (1.0 - rightness) + levels[..., right] * rightness
    tiny = floor.max(axis=-1, keepdims=True, initial=0.0) * 1e-9 + 1e-300
    shape = FLOOR_SHAPE_PER_LINE * (counts[left] * (1.0 - rightness) + counts[right] * rightness)
    return NoiseFloor(level=np.maximum(floor, tiny), shape=shape)
