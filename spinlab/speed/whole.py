"""Whole orders: how well the lines of a course are whole multiples of a drum at each factor."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.ratio import RIGID_SPREAD
from spinlab.speed.refine import Refined

# Highest order at which "a whole number" still says something; with a belt the motor turns eight
# times or more for each turn of the drum, and from there on its lines lie anywhere.
HIGHEST_WHOLE_ORDER = 40.0
BELOW_MOTOR_ORDER = 7.5
# Floor of the standard uncertainty of an order, as a share: belt creep moves motor lines this much
# against the drum.
ORDER_SPREAD = 0.0015
# Share of lines expected at whole orders of the drum, and the cost of a line below order one,
# which nothing on the machine but the belt makes.
WHOLE_SHARE = 0.35
BELOW_COST = 2.0
LOWEST_ORDER = 0.93


def whole_order_evidence(
    refined: Refined, factors: NDArray[np.float64], *, highest: float = HIGHEST_WHOLE_ORDER
) -> NDArray[np.float64]:
    """Log-likelihood that the lines are whole orders of a drum at each factor, over chance.

    A line at order o falls near a whole number by chance with a probability that grows with o, so
    low orders decide, and half of a true speed, which doubles every order, loses.
    """
    score = np.zeros(len(factors))
    for order, sigma, weight in zip(
        refined.orders, refined.order_sigma, refined.weight, strict=True
    ):
        near = order / factors
        spread = near * np.hypot(ORDER_SPREAD, min(sigma, 0.01))
        miss = (near - np.maximum(np.round(near), 1.0)) / spread
        density = np.exp(-0.5 * miss**2) / (spread * np.sqrt(2 * np.pi))
        gain = np.log(1 - WHOLE_SHARE + WHOLE_SHARE * density)
        score += weight * np.where(near <= highest, gain, 0.0) * (near >= LOWEST_ORDER)
        score -= weight * BELOW_COST * (near < LOWEST_ORDER)
    return score


# Without a belt every line of the motor is a whole order of the drum, and those of a three-phase
# one are multiples of more: torque ripples 6 times per turn of the supply, and balanced windings
# fill slots by threes (handbook knowledge, value from memory).  Share of lines at each.
LATTICE = ((6.0, 0.45), (3.0, 0.1), (1.0, 0.2))
# Lower orders are the drum's own, and any whole one is as likely.
LEAST_LATTICE_ORDER = 12.0
# Widest spread of an order, as a share of the distance between two, that still tells them apart.
LATTICE_BLUR = 0.3


def lattice_evidence(refined: Refined, factors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log-likelihood of lines at the whole orders of a three-phase motor on the drum.

    Over lines anywhere; a line so high that its order is known no better than the distance between
    two such orders says nothing.

    Args:
        refined: the course and its lines.
        factors: shape (factors,), drum rate over course rate.
    """
    score = np.zeros(len(factors))
    known = sum(share for _, share in LATTICE)
    rest = 1.0 - known
    for order, sigma, weight in zip(
        refined.orders, refined.order_sigma, refined.weight, strict=True
    ):
        near = order / factors
        spread = near * np.hypot(RIGID_SPREAD, min(float(sigma), 0.01))
        density = np.full(len(factors), rest)
        low = near < LEAST_LATTICE_ORDER
        for apart, share in LATTICE:
            miss = (near - apart * np.round(near / apart)) / spread
            peak = apart / (spread * np.sqrt(2 * np.pi)) * np.exp(-0.5 * miss**2)
            # where neighbours overlap the lattice is no longer seen
            peak = np.where(spread < LATTICE_BLUR * apart, peak, 1.0)
            density += np.where(low, known * (apart == 1.0), share) * peak
        score += weight * np.where(near >= LOWEST_ORDER, np.log(density), -BELOW_COST)
    return score


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
