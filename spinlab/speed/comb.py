"""Comb: faint lines at the drum's whole orders, too faint to be learned one by one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import LOWEST_TONE_HZ
from spinlab.speed.evidence import Floats, line_evidence
from spinlab.speed.follow import Followed
from spinlab.speed.frames import news_of
from spinlab.speed.places import places
from spinlab.speed.refine import Refined

COMB_ORDERS = np.arange(1.0, 25.0)
COMB_PRIOR = 0.15
# Mean power over noise of a line that is there but was not learned: faint.
COMB_SNR = 6.0
COMB_LIMIT = 6.0
COMB_TEMPER = 0.5
# A foreign line may stand at an order by chance, however clear it is: most nats that one order
# gives, and the most that one which is not heard costs.
ORDER_LIMIT = 5.0
ORDER_COST = 0.4
# The higher an order the likelier it is another reading's: beyond this one it counts less.
FULL_ORDER = 6.0
# Lines that are known already speak by their orders; beside them (share) the comb is deaf.
KNOWN_REACH = 0.012


def comb_evidence(
    lows: tuple[Followed, ...], refined: Refined, factors: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Evidence of faint lines at the drum's whole orders, relative to a random factor.

    Args:
        lows: the lowest tone band, followed along the course in frames of several lengths.
        refined: the course and the lines known already, which do not count again.
        factors: shape (factors,), drum rate over course rate.
    """
    score = np.zeros(len(factors))
    for low in (part for part in lows if len(part.time_s)):
        for order in COMB_ORDERS:
            weight = min(1.0, FULL_ORDER / float(order))
            score += weight * _one_order(low, refined, order * factors)
    return score / max(1, len(lows))


def _one_order(low: Followed, refined: Refined, at: NDArray[np.float64]) -> Floats:
    """Evidence of a line at an order for each factor; `at`, rising, is that order of the course."""
    limited = np.zeros(len(at), np.float32)
    # a line above the band in every frame says nothing; the first such one has neighbours
    hearable = np.count_nonzero(at * low.rate_hz.min() < low.bin_hz * low.ratio.shape[1]) + 1
    at = at[:hearable]
    place = places(low, at)
    told = place.inside & (low.rate_hz[:, None] * at[None, :] >= LOWEST_TONE_HZ)
    beside = np.abs(np.log(at[:, None] / refined.orders[None, :])) < KNOWN_REACH
    told &= ~beside.any(axis=1)
    value = line_evidence(
        place.values(low.ratio), prior=COMB_PRIOR, mean_snr=COMB_SNR, limit=COMB_LIMIT
    )
    value *= told
    best = value.copy()
    np.maximum(best[:, 1:], value[:, :-1], out=best[:, 1:])
    np.maximum(best[:, :-1], value[:, 1:], out=best[:, :-1])
    total = COMB_TEMPER * news_of(low.time_s, low.frame_s) * best
    limited[:hearable] = np.clip(total.sum(axis=0), -ORDER_COST, ORDER_LIMIT)
    return limited
