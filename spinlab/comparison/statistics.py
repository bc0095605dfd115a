"""When do two averaged spectra differ, by how much, and how sure is that?

A line of an averaged spectrum of noise follows the chi-square law over its degrees of freedom
(Welch, IEEE Transactions on Audio and Electroacoustics 15 (1967) 70-73; Bendat and Piersol,
Random Data, chapter 8), so the ratio of two of them follows Fisher's F law.  Half of the
logarithm of that ratio is close to normal even far out (Fisher's z, 1924), with mean and variance
from the digamma and trigamma functions (Bartlett and Kendall, Supplement to the Journal of the
Royal Statistical Society 8 (1946) 128-138).

Many lines are looked at, so claims are chosen by Benjamini and Hochberg (Journal of the Royal
Statistical Society B 57 (1995) 289-300): where nothing changed at all, the chance of one claim or
more is at most `ERROR_RATE`.  The intervals of chosen claims are widened so that they hold for
chosen ones too (Benjamini and Yekutieli, Journal of the American Statistical Association 100
(2005) 71-81).  Only places at which the two recordings together hold a line at all are tested:
where nothing changed, the sum of two chi-square variables says nothing about their ratio (Lukacs,
Annals of Mathematical Statistics 26 (1955) 319-324), so that this choice costs no error (Bourgon,
Gentleman and Huber, Proceedings of the National Academy of Sciences 107 (2010) 9546-9551).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from spinlab.envelope.significance import HANN_CORRELATION

Array = NDArray[np.float64]

# Chance of one or more claims about a machine that did not change.
ERROR_RATE = 0.05
# Chance at which noise passes for a line that is worth testing: it decides how many tests share
# the error, not how many errors there are.
LINE_CHANCE = 0.01
# Correlation of two Hann windows that overlap by half (Harris 1978, Proc. IEEE 66, table 1:
# 16.7 %); of what they gather, its square.
HALF_OVERLAP_CORRELATION = 1.0 / 6.0
# 4.34 dB: one neper of power.
DB_PER_NEPER = 10.0 / float(np.log(10.0))
# Quantiles that stand for a whole distribution where two of them are combined: enough for the
# far tails of claimed changes, and for a plain 95 %.
FINE, PLAIN = (240, 15), (60, 9)


def effective_segments(count: int) -> float:
    """Independent segments that carry as much as `count` half-overlapping Hann ones.

    >>> round(effective_segments(9), 2)
    8.58
    """
    if count < 1:
        return 0.0
    return count / (1.0 + 2.0 * HALF_OVERLAP_CORRELATION**2 * (count - 1) / count)


def freedom(power: Array, segments: float) -> float:
    """Degrees of freedom of the sum of neighbouring Hann lines of an averaged spectrum.

    Sums of correlated chi-square variables are matched to one with the same mean and variance
    (Welch-Satterthwaite, GUM annex G.4): noise spreads over all the lines and gives many, a tone
    stands in three and gives few.

    Args:
        power: shape (n,), neighbouring lines.
        segments: independent segments averaged.
    """
    first, second = HANN_CORRELATION
    squares = float(np.sum(power**2))
    squares += 2.0 * first * float(np.sum(power[1:] * power[:-1]))
    squares += 2.0 * second * float(np.sum(power[2:] * power[:-2]))
    return 2.0 * segments * float(np.sum(power)) ** 2 / max(squares, 1e-300)


def line_freedom(power: Array, each: Array, segments: float) -> float:
    """Degrees of freedom of the mean power of a place, whatever stands there.

    A steady line in noise follows the noncentral chi-square law, whose variance grows with the
    line's power; one whose amplitude is another in every segment follows the central one, with one
    degree of freedom a segment, whose variance grows with its square.  Where between the two a
    place lies is read from the spread of its segments.

    Args:
        power: shape (n,), neighbouring lines over their floor, mean of the segments.
        each: shape (segments,), mean of those lines in each segment.
        segments: independent segments that these are worth.
    """
    mean = float(np.mean(power))
    steady = 2.0 * (1.0 + 2.0 * max(mean - 1.0, 0.0)) / freedom(np.ones_like(power), segments)
    erratic = 2.0 * mean**2 / segments
    read = float(np.var(each, ddof=1)) / segments if len(each) > 1 else erratic
    return 2.0 * mean**2 / float(np.clip(read, steady, max(steady, erratic)))


@dataclass(frozen=True, kw_only=True)
class Level:
    """Power over its own noise floor: 1 where there is nothing but noise.

    Attributes:
        ratio: mean power over the floor.
        freedom: degrees of freedom of the mean power.
        floor_freedom: degrees of freedom of the floor.
        depth: what turns a line's power over the floor into that of its modulation depth; lines
            that fill the envelope lift its floor as well.
    """

    ratio: float
    freedom: float
    floor_freedom: float
    depth: float = 1.0

    @property
    def db(self) -> float:
        """The same in dB."""
        return DB_PER_NEPER * float(np.log(max(self.ratio, 1e-12)))

    @property
    def log_mean(self) -> float:
        """Mean of the logarithm of such a ratio over its true value, in nepers of power."""
        return _log_mean(self.freedom) - _log_mean(self.floor_freedom)

    @property
    def log_variance(self) -> float:
        """Variance of that logarithm."""
        return _log_variance(self.freedom) + _log_variance(self.floor_freedom)

    @property
    def line_share(self) -> float:
        """How much of the power is the line, not the floor: 0 to 1."""
        return max(0.0, 1.0 - 1.0 / max(self.ratio, 1e-12))


def _log_mean(nu: float) -> float:
    return float(special.digamma(nu / 2.0) - np.log(nu / 2.0))


def _log_variance(nu: float) -> float:
    return float(special.polygamma(1, nu / 2.0))


def probability(first: Level, second: Level, *, take_db: float, noise_too: bool = False) -> float:
    """Two-sided probability that two takes of an unchanged line differ this much.

    Args:
        first, second: the line's level in either recording.
        take_db: standard deviation by which an unchanged line's own level, the floor left out,
            differs from take to take.
        noise_too: whether the noise at a line's place differs as much from take to take, as in a
            room that passes some frequencies and not others.
    """
    shift = np.log(second.ratio) - np.log(first.ratio) - (second.log_mean - first.log_mean)
    share = 1.0 if noise_too else 0.5 * (first.line_share + second.line_share)
    between = 2.0 * (share * take_db / DB_PER_NEPER) ** 2
    score = float(shift) / float(np.sqrt(first.log_variance + second.log_variance + between))
    return float(2.0 * special.ndtr(-abs(score)))


def stands_out(first: Level, second: Level, *, least: float = 1.0) -> bool:
    """Whether two recordings together hold a line at a place.

    Args:
        first, second: the place's level in either recording.
        least: what their mean must pass besides, as a ratio.
    """
    mean = 0.5 * (first.ratio + second.ratio)
    nu = first.freedom + second.freedom
    floors = first.floor_freedom + second.floor_freedom
    chance = float(stats.f.sf(mean, nu, floors))
    return chance <= LINE_CHANCE and mean >= least


def room_db(independent: float) -> float:
    """Standard deviation, from place to place in a room, of a level averaged over frequencies.

    The power of one pure tone follows the exponential law over the places of a reverberant field,
    5.6 dB (Schroeder, Acustica 4 (1954) 594-600); the mean over n that are independent follows
    the gamma law of shape n.

    >>> round(room_db(1), 2), round(room_db(4), 2)
    (5.57, 2.31)
    """
    return DB_PER_NEPER * float(np.sqrt(special.polygamma(1, max(independent, 1.0))))


@dataclass(frozen=True, kw_only=True)
class Interval:
    """A change in dB with its bounds; None where it cannot be bounded on that side."""

    change_db: float | None
    low_db: float | None
    high_db: float | None


def line_change(
    first: Level,
    second: Level,
    *,
    take_db: float,
    confidence: float,
    quantiles: tuple[int, int] = FINE,
) -> Interval:
    """Change of the line itself, its noise floor taken off, from `first` to `second`.

    The interval is a generalised one (Weerahandi, Journal of the American Statistical
    Association 88 (1993) 899-905): what each line's true level may be, given what was read, by
    the quantiles of the chi-square law, and the change between every two of them.  Where one of
    the lines may as well be nothing, the change has no bound on that side.

    Args:
        first, second: the line's level in either recording.
        take_db: as in `probability`.
        confidence: e.g. 0.95.
        quantiles: how many stand for a line's distribution, and how many for the takes'.
    """
    before, after = _possible(first, quantiles[0]), _possible(second, quantiles[0])
    take = special.ndtri(_points(quantiles[1])) * take_db * np.sqrt(2.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        change = DB_PER_NEPER * (np.log(after)[None, :] - np.log(before)[:, None])
    # Nothing against nothing is no change that could be known: as likely up as down.
    empty = np.isnan(change)
    change[empty] = np.where(np.arange(empty.sum()) % 2, np.inf, -np.inf)
    spread = np.sort((change.ravel()[:, None] + take[None, :]).ravel())
    low, high = _at(spread, 0.5 - 0.5 * confidence), _at(spread, 0.5 + 0.5 * confidence)
    both = first.ratio > 1.0 and second.ratio > 1.0
    middle = (
        DB_PER_NEPER
        * float(np.log((second.ratio - 1.0) * second.depth / (first.ratio - 1.0) / first.depth))
        if both
        else None
    )
    if middle is not None and not (
        (low is None or low <= middle) and (high is None or middle <= high)
    ):
        middle = None
    return Interval(change_db=middle, low_db=low, high_db=high)


def _points(count: int) -> Array:
    return np.asarray((np.arange(count) + 0.5) / count)


def _possible(level: Level, count: int) -> Array:
    """What the power of the line's own depth may be, at evenly spread probabilities."""
    nu = 1.0 / (1.0 / level.freedom + 1.0 / level.floor_freedom)
    drawn = special.gammaincinv(0.5 * nu, _points(count)) / (0.5 * nu)
    return np.asarray(np.maximum(level.ratio / drawn - 1.0, 0.0) * level.depth)


def _at(ordered: Array, share: float) -> float | None:
    value = float(ordered[int(np.clip(round(share * (len(ordered) - 1)), 0, len(ordered) - 1))])
    return value if np.isfinite(value) else None


@dataclass(frozen=True, kw_only=True, eq=False)
class Chosen:
    """Which of many tests may be claimed, and at which level their intervals then hold.

    Attributes:
        claimed: shape (n,), True where a change may be claimed.
        adjusted: shape (n,), probabilities adjusted for all the tests.
        confidence: level for the intervals of claimed changes.
    """

    claimed: NDArray[np.bool_]
    adjusted: Array
    confidence: float


def choose(probabilities: ArrayLike, *, error_rate: float = ERROR_RATE) -> Chosen:
    """Benjamini and Hochberg's choice, with the level of Benjamini and Yekutieli's intervals.

    >>> choose([0.001, 0.6, 0.012, 0.9]).claimed.tolist()
    [True, False, True, False]
    """
    p = np.asarray(probabilities, dtype=np.float64)
    if len(p) == 0:
        return Chosen(claimed=np.zeros(0, dtype=bool), adjusted=p, confidence=1.0 - error_rate)
    adjusted = np.asarray(stats.false_discovery_control(p, method="bh"), dtype=np.float64)
    claimed = adjusted <= error_rate
    confidence = 1.0 - error_rate * max(1, int(claimed.sum())) / len(p)
    return Chosen(claimed=claimed, adjusted=adjusted, confidence=confidence)
