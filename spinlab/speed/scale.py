"""Scale: which multiple of a course is the drum itself.

A course found from lines of unknown order gives the speed up to a factor.  Three things fix it:
the beat of broadband noise at the drum's rate, lines that are whole multiples of the drum's rate,
and, where a profile states it, the drum-to-motor ratio.  Each candidate factor gets a
log-likelihood; what the others keep of it are the rivals that the result reports.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import LOWEST_TONE_HZ
from spinlab.speed.beats import BEAT_HOP_S, Beats, beat_evidence
from spinlab.speed.evidence import line_evidence
from spinlab.speed.follow import Followed, at_orders
from spinlab.speed.maps import news_share
from spinlab.speed.refine import Refined
from spinlab.speed.track import Estimate

# Highest order at which "a whole number" still says something.
HIGHEST_WHOLE_ORDER = 40.0
# Floor of the standard uncertainty of an order, as a share: belt creep moves motor lines this much
# against the drum.
ORDER_SPREAD = 0.0015
# Share of lines expected at whole orders of the drum, and the cost of a line below order one,
# which nothing on the machine but the belt makes.
WHOLE_SHARE = 0.35
BELOW_COST = 2.0
FACTOR_STEP = 0.001
# Beats of neighbouring windows and bands are not independent; and twice and three times the
# drum's rate beat often (an oval drum, three lifters), so they count, but less.
BEAT_TEMPER = 0.5
BEAT_ORDERS = ((1.0, 1.0), (2.0, 0.5), (3.0, 0.5))
# A run-up is asked for over a range of speeds, and the drum is expected to use it: nats lost for
# each e-fold by which the top speed stays below this share of the fastest.
USUAL_TOP_SHARE = 0.45
SLOW_COST = 4.0
# Nats for the reading in which a cabinet sensor's strongest moving line is the first order.
FELT_GAIN = 14.0
LEAST_FELT_STRENGTH = 8.0
# Share of the whole likelihood that the best reading must hold for the scale to be absolute, and
# the nats of measurement, not programme, by which it must stand above the usual factor.
LEAST_WEIGHT = 0.95
LEAST_MEASURED = 9.0
# Readings closer than this share are one reading; peaks this close to a simple multiple of the
# best belong to it.
APART = 0.012
KIN_REACH = 0.02


@dataclass(frozen=True, kw_only=True)
class RatioPrior:
    """What a profile knows: motor turns per drum turn, its relative tolerance, motor orders.

    `counted` says that the motor's own counts are among the orders, which are then expected.
    """

    ratio: float
    tolerance: float
    motor_orders: tuple[float, ...] = (1.0, 2.0, 3.0, 4.0, 6.0)
    counted: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class ScaleScan:
    """Log-likelihood of each factor (drum rate over course rate) and its parts.

    `heard` is what the drum's own turns say, `measured` adds the profile's drive, and `total`
    what its programme says.
    """

    factors: NDArray[np.float64]
    heard: NDArray[np.float64]
    measured: NDArray[np.float64]
    total: NDArray[np.float64]
    beat: NDArray[np.float64]
    whole: NDArray[np.float64]
    comb: NDArray[np.float64]
    ratio: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """One reading of the scale: weight among all, and how far it stands out (nats).

    `measured_standout` counts the drum's own turns alone, neither profile nor programme;
    `by_programme` says that without the programme another reading would have won or too little
    would have stood out; `sigma` is the standard uncertainty of ln(factor) within the reading.
    """

    factor: float
    weight: float
    standout: float
    measured_standout: float = 0.0
    by_programme: bool = False
    sigma: float = 0.0


def scan_scales(
    refined: Refined,
    beats: tuple[Beats, ...],
    low: Followed | None,
    *,
    range_hz: tuple[float, float],
    prior: RatioPrior | None = None,
    first_order_felt: bool = False,
    programme_rpm: tuple[float, ...] = (),
) -> ScaleScan:
    """Score every factor that puts the top speed within `range_hz`.

    Args:
        refined: the course and its lines.
        beats: followed envelopes, in windows of several lengths.
        low: the low tones, followed; None where the strongest line is the drum's first order.
        range_hz: slowest and fastest top speed.
        prior: what a profile knows of the drive.
        first_order_felt: the strongest line is taken for the drum's first order, as a sensor on
            the cabinet feels it.
        programme_rpm: the plateaus that a profile expects.
    """
    top = float(np.quantile(refined.log_hz, 0.97))
    slowest, fastest = (np.log(f) - top for f in range_hz)
    logs = np.arange(slowest, fastest, FACTOR_STEP)
    factors = np.exp(logs)
    beat = _beat_score(beats, factors)
    whole = whole_order_evidence(refined, factors)
    comb = comb_evidence(low, refined, factors) if low else np.zeros(len(factors))
    ratio = ratio_evidence(refined, factors, prior) if prior else np.zeros(len(factors))
    if first_order_felt and refined.strength.max(initial=0.0) > LEAST_FELT_STRENGTH:
        strongest = refined.orders[np.argmax(refined.strength)]
        whole = whole + FELT_GAIN * (np.abs(np.log(strongest / factors)) < 2 * ORDER_SPREAD)
    whole = whole + low_line_evidence(refined, factors, float(np.exp(top)))
    programme = programme_evidence(refined, factors, programme_rpm)
    short = np.maximum(0.0, np.log(USUAL_TOP_SHARE * range_hz[1]) - (logs + top))
    beat /= overstatement(beat, logs)
    comb /= overstatement(comb, logs)
    own = beat + whole + comb
    measured = own + ratio - SLOW_COST * short
    return ScaleScan(
        factors=factors,
        heard=own,
        measured=measured,
        total=measured + programme,
        beat=beat,
        whole=whole,
        comb=comb,
        ratio=ratio,
    )


# Chance peaks of a log-likelihood ratio fall off by one nat per e-fold; the tail that is looked at.
TAIL_QUANTILE = 0.6
LEAST_PEAKS = 8
KIN = (1 / 3, 0.5, 2 / 3, 1.0, 1.5, 2.0, 3.0)


def overstatement(score: NDArray[np.float64], logs: NDArray[np.float64]) -> float:
    """How much too wide the chance peaks of a score lie for a log-likelihood ratio, at least 1.

    Overlapping windows, bands that hear the same and lines of other machines make evidence count
    more than once.  Under noise alone the peaks of a true log-likelihood ratio exceed a level by
    one nat on average (its likelihood ratio has mean one); what these exceed it by is the factor.

    Args:
        score: shape (factors,), nats.
        logs: shape (factors,), ln of the factors.
    """
    from scipy.signal import find_peaks

    peaks, _ = find_peaks(score, distance=max(1, round(APART / FACTOR_STEP)))
    best = logs[np.argmax(score)]
    kin = np.min(np.abs(logs[peaks][:, None] - best - np.log(KIN)[None, :]), axis=1)
    chance = np.sort(score[peaks[kin > KIN_REACH]])
    if len(chance) < LEAST_PEAKS:
        return 1.0
    level = np.quantile(chance, TAIL_QUANTILE)
    return max(1.0, float(np.mean(chance[chance > level] - level)))


def _beat_score(beats: tuple[Beats, ...], factors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Evidence of beats at the drum's first orders, relative to a random factor.

    Each window length is summed by itself, and the lengths are averaged: they hear the same.
    """
    from scipy.ndimage import maximum_filter1d

    score = np.zeros(len(factors))
    for part in (b for b in beats if len(b.time_s)):
        for order, weight in BEAT_ORDERS:
            value = beat_evidence(part, factors * order)
            # belt creep lets the drum wander by a few tenths of a percent against a motor line
            value = maximum_filter1d(value, 5, axis=1)
            score += weight * part.news * value.sum(axis=0)
    return BEAT_TEMPER / max(1, len(beats)) * score


COMB_ORDERS = np.arange(1.0, 13.0)
COMB_PRIOR = 0.15
COMB_LIMIT = 6.0
COMB_TEMPER = 0.5
# A foreign line may stand at an order by chance, however clear it is: most nats that one order
# gives, and the most that one which is not heard costs.
ORDER_LIMIT = 3.0
ORDER_COST = 0.4
# Lines that are known already speak by their orders; beside them (share) the comb is deaf.
KNOWN_REACH = 0.012


def comb_evidence(
    low: Followed, refined: Refined, factors: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Evidence of faint lines at the drum's whole orders, relative to a random factor.

    Args:
        low: the lowest tone band, followed along the course.
        refined: the course and the lines known already, which do not count again.
        factors: shape (factors,), drum rate over course rate.
    """
    from scipy.ndimage import maximum_filter1d

    score = np.zeros(len(factors))
    news = news_share(low.frame_s, BEAT_HOP_S)
    for order in COMB_ORDERS:
        at = order * factors
        ratio = at_orders(low, at)
        audible = low.rate_hz[:, None] * at[None, :] >= LOWEST_TONE_HZ
        told = np.isfinite(ratio) & audible
        value = line_evidence(np.nan_to_num(ratio), prior=COMB_PRIOR, limit=COMB_LIMIT)
        beside = np.abs(np.log(at[:, None] / refined.orders[None, :])) < KNOWN_REACH
        told &= ~beside.any(axis=1)
        value *= told
        total = COMB_TEMPER * news * maximum_filter1d(value, 3, axis=1).sum(axis=0)
        score += np.clip(total, -ORDER_COST, ORDER_LIMIT)
    return score


def whole_order_evidence(refined: Refined, factors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log-likelihood that the lines are whole orders of a drum at each factor, over chance.

    A line at order o falls near a whole number by chance with a probability that grows with o, so
    low orders decide, and half of a true speed, which doubles every order, loses.
    """
    score = np.zeros(len(factors))
    for order, sigma, strength in zip(
        refined.orders, refined.order_sigma, refined.strength, strict=True
    ):
        weight = float(np.clip(strength / 2.0, 0.0, 1.0))
        near = order / factors
        spread = near * np.hypot(ORDER_SPREAD, min(sigma, 0.01))
        miss = (near - np.maximum(np.round(near), 1.0)) / spread
        density = np.exp(-0.5 * miss**2) / (spread * np.sqrt(2 * np.pi))
        gain = np.log(1 - WHOLE_SHARE + WHOLE_SHARE * density)
        score += weight * np.where(near <= HIGHEST_WHOLE_ORDER, gain, 0.0) * (near >= 0.93)
        score -= weight * BELOW_COST * (near < 0.93)
    return score


RATIO_STEP = 0.001
RATIO_SPREAD = 0.0015
# Without a belt nothing creeps, and the grid of factors alone limits the fit.
RIGID_SPREAD = 0.0007
RIGID_TOLERANCE = 0.001
# Share of the moving lines that are the motor's, with and without its counts known.
COUNTED_SHARE = 0.6
UNCOUNTED_SHARE = 0.4


def ratio_evidence(
    refined: Refined, factors: NDArray[np.float64], prior: RatioPrior
) -> NDArray[np.float64]:
    """Log-likelihood of lines at the motor's orders, for a ratio anywhere within its tolerance.

    One ratio holds for all lines, so their orders among themselves fix the motor's rate, and the
    tolerance fixes how far the drum's may lie from it: the likelihood is averaged over the ratios.

    Args:
        refined: the course and its lines.
        factors: shape (factors,), drum rate over course rate.
        prior: what the profile knows.
    """
    from scipy.special import logsumexp

    half = max(1, round(prior.tolerance / RATIO_STEP))
    logs = np.log(factors[0] * prior.ratio) + RATIO_STEP * np.arange(-half, len(factors) + half)
    near = np.lib.stride_tricks.sliding_window_view(_at_motor(refined, logs, prior), 2 * half + 1)
    mean: NDArray[np.float64] = logsumexp(near[: len(factors)], axis=1) - np.log(2 * half + 1)
    return mean


def _at_motor(
    refined: Refined, logs: NDArray[np.float64], prior: RatioPrior
) -> NDArray[np.float64]:
    """Log-likelihood that the lines stand at the motor's orders, for each ln(motor's order)."""
    wanted = np.log(np.array(prior.motor_orders))
    share = COUNTED_SHARE if prior.counted else UNCOUNTED_SHARE
    least = RIGID_SPREAD if prior.tolerance < RIGID_TOLERANCE else RATIO_SPREAD
    score = np.zeros(len(logs))
    for order, sigma, strength in zip(
        refined.orders, refined.order_sigma, refined.strength, strict=True
    ):
        spread = np.hypot(least, min(float(sigma), 0.01))
        miss = np.abs(np.log(order) - logs[:, None] - wanted[None, :]).min(axis=1) / spread
        # against a line anywhere within an e-fold
        density = np.exp(-0.5 * miss**2) / (spread * np.sqrt(2 * np.pi)) / len(wanted)
        weight = float(np.clip(strength / 2.0, 0.0, 1.0))
        score += weight * np.log(1 - share + share * density)
    return score


# Nats by which the motor's order must stand out among all that the tolerance allows.
LEAST_RATIO_NATS = 5.0
LEAST_RATIO_SHARE = 0.9


def measured_ratio(refined: Refined, scale: Candidate, prior: RatioPrior | None) -> Estimate | None:
    """Motor turns per drum turn, where the motor's lines fix it; None where they do not."""
    if prior is None or prior.tolerance < RIGID_TOLERANCE or not len(refined.orders):
        return None
    half = max(1, round(prior.tolerance / RATIO_STEP))
    logs = np.log(scale.factor * prior.ratio) + RATIO_STEP * np.arange(-half, half + 1)
    score = _at_motor(refined, logs, prior)
    share = np.exp(score - score.max())
    near = np.abs(logs - logs[np.argmax(score)]) < APART
    if score.max() - np.median(score) < LEAST_RATIO_NATS:
        return None
    if share[near].sum() < LEAST_RATIO_SHARE * share.sum():
        return None
    mean = float(np.average(logs[near], weights=share[near]))
    spread = float(np.sqrt(np.average((logs[near] - mean) ** 2, weights=share[near])))
    ratio = float(np.exp(mean)) / scale.factor
    return Estimate(value=ratio, standard_uncertainty=ratio * float(np.hypot(spread, scale.sigma)))


# The programme may choose among readings, at this many nats for each plateau that fits within this
# share, but it cannot move one: a drum slow by a few percent fits as well as one on the dot.
PROGRAMME_NATS = 2.5
PROGRAMME_SPREAD = 0.05
PROGRAMME_LIMIT = 8.0
LEVEL_FRAMES = 7
LEVEL_SHARE = 0.006


def programme_evidence(
    refined: Refined, factors: NDArray[np.float64], programme_rpm: tuple[float, ...]
) -> NDArray[np.float64]:
    """What a profile's plateaus say of each factor, given the levels at which the course rests."""
    levels = resting_levels(refined.log_hz)
    if not programme_rpm or len(levels) < 2:
        return np.zeros(len(factors))
    wanted = np.log(np.array(programme_rpm) / 60.0)
    speed = levels[:, None] + np.log(factors)[None, :]
    miss = np.abs(speed[:, :, None] - wanted).min(axis=2) / PROGRAMME_SPREAD
    fit = PROGRAMME_NATS * (np.exp(-0.5 * miss**2) - 0.3)
    return np.clip(fit.sum(axis=0), -PROGRAMME_LIMIT, PROGRAMME_LIMIT)


def resting_levels(log_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distinct levels at which a course rests for a couple of seconds, ln(Hz)."""
    levels: list[float] = []
    for k in range(len(log_hz) - LEVEL_FRAMES + 1):
        part = log_hz[k : k + LEVEL_FRAMES]
        if np.ptp(part) < LEVEL_SHARE:
            level = float(np.median(part))
            if all(abs(level - other) > APART for other in levels):
                levels.append(level)
    return np.array(levels)


# Only the drum itself turns this slowly at its top speed: a line below this is one of its first
# orders, most likely the first (nats over a random reading).
SLOW_LINE_HZ = 31.0
FIRST_ORDERS = ((1.0, 6.0), (2.0, 3.0), (3.0, 2.0))
LEAST_LOW_STRENGTH = 1.0


def low_line_evidence(
    refined: Refined, factors: NDArray[np.float64], top_hz: float
) -> NDArray[np.float64]:
    """Evidence of the strongest line that is too slow to be the motor's."""
    slow = (refined.orders * top_hz < SLOW_LINE_HZ) & (refined.strength > LEAST_LOW_STRENGTH)
    out = np.zeros(len(factors))
    if slow.any():
        line = refined.orders[slow][np.argmax(refined.strength[slow])]
        for order, nats in FIRST_ORDERS:
            out += nats * (np.abs(np.log(line / (order * factors))) < 2 * ORDER_SPREAD)
    return out


def candidates(scan: ScaleScan, *, most: int = 5) -> tuple[Candidate, ...]:
    """Separate readings, best first, each with its share of the whole likelihood."""
    from scipy.special import logsumexp

    median, usual = float(np.median(scan.total)), float(np.median(scan.heard))
    everything = float(logsumexp(scan.total))
    logs = np.log(scan.factors)
    left = np.ones(len(logs), bool)
    picked: list[tuple[int, float, float, float]] = []
    while len(picked) < most and left.any():
        best = int(np.argmax(np.where(left, scan.total, -np.inf)))
        near = left & (np.abs(logs - logs[best]) < APART)
        share = np.exp(scan.total[near] - everything)
        mean = np.average(logs[near], weights=share)
        spread = np.sqrt(np.average((logs[near] - mean) ** 2, weights=share))
        picked.append((best, float(np.exp(mean)), float(share.sum()), float(spread)))
        left &= ~near
    without = int(np.argmax(scan.measured))
    return tuple(
        Candidate(
            factor=factor,
            weight=weight,
            standout=float(scan.total[k] - median),
            measured_standout=float(scan.heard[k] - usual),
            by_programme=bool(
                abs(logs[k] - logs[without]) > APART
                or _share(scan.measured, logs, k) < LEAST_WEIGHT
            ),
            sigma=sigma,
        )
        for k, factor, weight, sigma in picked
    )


def _share(score: NDArray[np.float64], logs: NDArray[np.float64], k: int) -> float:
    """Share of the whole likelihood that lies within one reading of place `k`."""
    from scipy.special import logsumexp

    near = np.abs(logs - logs[k]) < APART
    return float(np.exp(logsumexp(score[near]) - logsumexp(score)))
