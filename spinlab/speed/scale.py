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

from spinlab.speed.beats import BEAT_LIMIT, PLACE_LIMIT, Beats, limited_evidence
from spinlab.speed.comb import comb_evidence
from spinlab.speed.follow import Followed
from spinlab.speed.programme import programme_evidence
from spinlab.speed.ratio import RatioPrior, ratio_evidence
from spinlab.speed.refine import Refined
from spinlab.speed.runup import top_of
from spinlab.speed.whole import (
    BELOW_MOTOR_ORDER,
    HIGHEST_WHOLE_ORDER,
    ORDER_SPREAD,
    lattice_evidence,
    low_line_evidence,
    whole_order_evidence,
)

FACTOR_STEP = 0.001
# Beats of neighbouring windows and bands are not independent; and twice and three times the
# drum's rate beat often (an oval drum, three lifters), so they count, but less.
BEAT_TEMPER = 0.5
# One window may hold a pump, a door or the mains' own beat: most nats that it gives.
WINDOW_LIMIT = 8.0
BEAT_ORDERS = (1.0, 2.0, 3.0)
FURTHER_WEIGHT = 0.5
# A bearing or the belt may beat close to twice or three times the drum's rate: nats that such a
# beat gives beyond what those before it give.
ALONE_NATS = 4.0
# A run-up is asked for over a range of speeds, and the drum is expected to use it: nats lost for
# each e-fold by which the top speed stays below this share of the fastest.
USUAL_TOP_SHARE = 0.45
SLOW_COST = 4.0
# Nats for the reading in which a cabinet sensor's strongest moving line is the first order.
FELT_GAIN = 14.0
LEAST_FELT_STRENGTH = 8.0
# Readings closer than this share are one reading; peaks this close to a simple multiple of the
# best belong to it.
APART = 0.012
KIN_REACH = 0.02
# Bands hear the same turns: share of what they say beyond the limits that counts.
SHARPER_TEMPER = 0.25


@dataclass(frozen=True, kw_only=True, eq=False)
class ScaleScan:
    """Log-likelihood of each factor (drum rate over course rate) and its parts.

    `heard` is what the drum's own turns say, `measured` adds the profile's drive, and `total`
    what its programme says; `sharper` is what strong beats tell beyond that of places within one
    scale.
    """

    factors: NDArray[np.float64]
    heard: NDArray[np.float64]
    measured: NDArray[np.float64]
    total: NDArray[np.float64]
    sharper: NDArray[np.float64]
    beat: NDArray[np.float64]
    whole: NDArray[np.float64]
    comb: NDArray[np.float64]
    ratio: NDArray[np.float64]


def scan_scales(
    refined: Refined,
    beats: tuple[Beats, ...],
    lows: tuple[Followed, ...],
    *,
    range_hz: tuple[float, float],
    prior: RatioPrior | None = None,
    belt: bool = False,
    first_order_felt: bool = False,
    programme_rpm: tuple[float, ...] = (),
) -> ScaleScan:
    """Score every factor that puts the top speed within `range_hz`.

    Args:
        refined: the course and its lines.
        beats: followed envelopes, in windows of several lengths.
        lows: the low tones, followed in frames of several lengths; none where the strongest line
            is the drum's first order.
        range_hz: slowest and fastest top speed.
        prior: what a profile knows of the drive.
        belt: the profile says that a belt drives the drum.
        first_order_felt: the strongest line is taken for the drum's first order, as a sensor on
            the cabinet feels it.
        programme_rpm: the plateaus that a profile expects.
    """
    top = top_of(refined)
    slowest, fastest = (np.log(f) - top for f in range_hz)
    logs = np.arange(slowest, fastest, FACTOR_STEP)
    factors = np.exp(logs)
    beat, sharp = _beat_score(beats, logs)
    highest = BELOW_MOTOR_ORDER if belt else HIGHEST_WHOLE_ORDER
    whole = (
        lattice_evidence(refined, factors)
        if prior and prior.on_drum and not first_order_felt
        else whole_order_evidence(refined, factors, highest=highest)
    )
    comb = comb_evidence(lows, refined, factors)
    ratio = np.zeros(len(factors))
    if prior and prior.motor_orders:
        ratio = ratio_evidence(refined, factors, prior)
    if first_order_felt and refined.strength.max(initial=0.0) > LEAST_FELT_STRENGTH:
        strongest = refined.orders[np.argmax(refined.strength)]
        whole = whole + FELT_GAIN * (np.abs(np.log(strongest / factors)) < 2 * ORDER_SPREAD)
    whole = whole + low_line_evidence(refined, factors, float(np.exp(top)))
    programme = programme_evidence(refined, factors, programme_rpm)
    short = np.maximum(0.0, np.log(USUAL_TOP_SHARE * range_hz[1]) - (logs + top))
    comb /= overstatement(comb, logs)
    own = beat + whole + comb
    measured = own + ratio - SLOW_COST * short
    return ScaleScan(
        factors=factors,
        heard=own,
        measured=measured,
        total=measured + programme,
        sharper=SHARPER_TEMPER * (sharp - beat),
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


def _beat_score(
    beats: tuple[Beats, ...], logs: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Evidence of beats at the drum's first orders, relative to a random factor.

    Each window length is summed by itself, and the lengths are averaged: they hear the same.  Once
    for choosing among scales, once for the place within one.
    """
    by_order = np.array([_beats_at(beats, order * np.exp(logs)) for order in BEAT_ORDERS])
    weight = np.array([1.0, *(FURTHER_WEIGHT for _ in BEAT_ORDERS[1:])])
    by_order *= weight[:, None, None]
    by_order /= overstatement(by_order[:, 0].sum(axis=0), logs)
    score, sharp = by_order[0]
    most = np.maximum(score, 0.0)
    for part, sharp_part in by_order[1:]:
        counted = np.minimum(part, most + ALONE_NATS)
        score, sharp = score + counted, sharp + np.maximum(sharp_part - part, 0.0) + counted
        most = np.maximum(most, part)
    return score, sharp


def _beats_at(beats: tuple[Beats, ...], factors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Evidence of a beat at each factor of the course's rate, under both limits of a row's."""
    from scipy.ndimage import maximum_filter1d

    score = np.zeros((2, len(factors)))
    for part in (b for b in beats if len(b.time_s)):
        # belt creep lets the drum wander by a few tenths of a percent against a motor line
        value = limited_evidence(part, factors, (BEAT_LIMIT, PLACE_LIMIT))
        value = maximum_filter1d(value, 3, axis=2)
        np.minimum(value[0], np.float32(WINDOW_LIMIT), out=value[0])
        score += part.news * value.sum(axis=1)
    return BEAT_TEMPER / max(1, len(beats)) * score
