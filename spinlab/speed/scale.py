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

from spinlab.speed.beats import BEAT_HOP_S, WINDOW_S, Beats, beat_evidence
from spinlab.speed.maps import news_share
from spinlab.speed.refine import Refined

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
# Nats that the best factor must stand above the median factor for the scale to be called absolute,
# and how many of them must be measured where the programme helped to choose.
LEAST_STANDOUT = 13.0
LEAST_MEASURED = 6.0
# Readings closer than this share are one reading.
APART = 0.02


@dataclass(frozen=True, kw_only=True)
class RatioPrior:
    """What a profile knows: motor turns per drum turn, its relative tolerance, motor orders."""

    ratio: float
    tolerance: float
    motor_orders: tuple[float, ...] = (1.0, 2.0, 3.0, 4.0, 6.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class ScaleScan:
    """Log-likelihood of each factor (drum rate over course rate) and its parts.

    `total` is `measured` and what the programme adds.
    """

    factors: NDArray[np.float64]
    measured: NDArray[np.float64]
    total: NDArray[np.float64]
    beat: NDArray[np.float64]
    whole: NDArray[np.float64]
    ratio: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """One reading of the scale: weight among all, and how far it stands out (nats).

    `measured_standout` leaves the programme out; `by_programme` says that without the programme
    another reading would have won or too little would have stood out.
    """

    factor: float
    weight: float
    standout: float
    measured_standout: float = 0.0
    by_programme: bool = False


def scan_scales(
    refined: Refined,
    beats: Beats,
    *,
    range_hz: tuple[float, float],
    prior: RatioPrior | None = None,
    first_order_felt: bool = False,
    programme_rpm: tuple[float, ...] = (),
) -> ScaleScan:
    """Score every factor that puts the top speed within `range_hz`.

    Args:
        refined: the course and its lines.
        beats: followed envelopes.
        range_hz: slowest and fastest top speed.
        prior: what a profile knows of the drive.
        first_order_felt: the strongest line is taken for the drum's first order, as a sensor on
            the cabinet feels it.
        programme_rpm: the plateaus that a profile expects.
    """
    top = float(np.quantile(refined.log_hz, 0.97))
    low, high = (np.log(f) - top for f in range_hz)
    logs = np.arange(low, high, FACTOR_STEP)
    factors = np.exp(logs)
    beat = _beat_score(beats, factors)
    whole = whole_order_evidence(refined, factors)
    ratio = (
        np.array([ratio_evidence(refined, f, prior) for f in factors])
        if prior
        else np.zeros(len(factors))
    )
    if first_order_felt and refined.strength.max(initial=0.0) > LEAST_FELT_STRENGTH:
        strongest = refined.orders[np.argmax(refined.strength)]
        ratio += FELT_GAIN * (np.abs(np.log(strongest / factors)) < 2 * ORDER_SPREAD)
    ratio += low_line_evidence(refined, factors, float(np.exp(top)))
    programme = programme_evidence(refined, factors, programme_rpm)
    short = np.maximum(0.0, np.log(USUAL_TOP_SHARE * range_hz[1]) - (logs + top))
    measured = beat + whole + ratio - SLOW_COST * short
    return ScaleScan(
        factors=factors,
        measured=measured,
        total=measured + programme,
        beat=beat,
        whole=whole,
        ratio=ratio,
    )


def _beat_score(beats: Beats, factors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Summed evidence of beats at the drum's first orders, relative to a random factor."""
    from scipy.ndimage import maximum_filter1d

    score = np.zeros(len(factors))
    if not len(beats.time_s):
        return score
    news = news_share(WINDOW_S, BEAT_HOP_S)
    for order, weight in BEAT_ORDERS:
        value = beat_evidence(beats, factors * order)
        # belt creep lets the drum wander by a few tenths of a percent against a motor line
        value = maximum_filter1d(value, 5, axis=1)
        score += weight * value.sum(axis=0)
    return BEAT_TEMPER * news * score


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


def ratio_evidence(refined: Refined, factor: float, prior: RatioPrior) -> float:
    """Log-likelihood that lines stand at the motor's orders, given the profile's ratio."""
    motor = np.log(refined.orders / (factor * prior.ratio))
    wanted = np.log(np.array(prior.motor_orders))
    spread = max(prior.tolerance / 2.0, 0.003)
    miss = np.min(np.abs(motor[:, None] - wanted[None, :]), axis=1) / spread
    weight = np.clip(refined.strength / 2.0, 0.0, 1.0)
    # against a line anywhere within an e-fold
    density = np.exp(-0.5 * miss**2) / (spread * np.sqrt(2 * np.pi)) / len(wanted)
    return float(np.sum(weight * np.log(0.6 + 0.4 * density)))


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
    """Separate readings, best first, with weights that sum to one over those listed."""
    median = float(np.median(scan.total))
    picked: list[int] = []
    for k in np.argsort(-scan.total, kind="stable"):
        if all(abs(np.log(scan.factors[k] / scan.factors[p])) > APART for p in picked):
            picked.append(int(k))
        if len(picked) == most:
            break
    scores = scan.total[picked]
    weights = np.exp(scores - scores.max())
    weights /= weights.sum()
    return tuple(
        Candidate(
            factor=float(scan.factors[k]),
            weight=float(w),
            standout=float(scan.total[k] - median),
            measured_standout=float(scan.measured[k] - np.median(scan.measured)),
            by_programme=bool(
                abs(np.log(scan.factors[k] / scan.factors[np.argmax(scan.measured)])) > APART
                or scan.measured[k] - np.median(scan.measured) < LEAST_STANDOUT
            ),
        )
        for k, w in zip(picked, weights, strict=True)
    )
