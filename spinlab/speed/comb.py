"""Comb: faint lines at the drum's whole orders, too faint to be learned one by one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import LOWEST_TONE_HZ
from spinlab.speed.beats import BEAT_HOP_S
from spinlab.speed.evidence import line_evidence
from spinlab.speed.follow import Followed, at_orders
from spinlab.speed.frames import news_share
from spinlab.speed.refine import Refined

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
