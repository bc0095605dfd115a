"""Ratio: what a profile's drive says of the scale, and the motor turns per drum turn measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.refine import Refined
from spinlab.speed.track import Estimate


@dataclass(frozen=True, kw_only=True)
class RatioPrior:
    """What a profile knows: motor turns per drum turn, its relative tolerance, motor orders.

    `counted` says that the motor's own counts are among the orders, which are then expected;
    `on_drum` that a three-phase motor sits on the drum itself, without a belt.
    """

    ratio: float
    tolerance: float
    motor_orders: tuple[float, ...] = (1.0, 2.0, 3.0, 4.0, 6.0)
    counted: bool = False
    on_drum: bool = False


RATIO_STEP = 0.001
RATIO_SPREAD = 0.0015
# Without a belt nothing creeps, and the grid of factors alone limits the fit.
RIGID_SPREAD = 0.0007
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
    half = max(1, round(prior.tolerance / RATIO_STEP))
    logs = np.log(factors[0] * prior.ratio) + RATIO_STEP * np.arange(-half, len(factors) + half)
    near = np.lib.stride_tricks.sliding_window_view(_at_motor(refined, logs, prior), 2 * half + 1)
    near = near[: len(factors)]
    most = near.max(axis=1)
    mean: NDArray[np.float64] = most + np.log(np.exp(near - most[:, None]).mean(axis=1))
    return mean


def _at_motor(
    refined: Refined, logs: NDArray[np.float64], prior: RatioPrior
) -> NDArray[np.float64]:
    """Log-likelihood that the lines stand at the motor's orders, for each ln(motor's order)."""
    wanted = np.log(np.array(prior.motor_orders))
    share = COUNTED_SHARE if prior.counted else UNCOUNTED_SHARE
    least = RIGID_SPREAD if prior.on_drum else RATIO_SPREAD
    score = np.zeros(len(logs))
    for order, sigma, weight in zip(
        refined.orders, refined.order_sigma, refined.weight, strict=True
    ):
        spread = np.hypot(least, min(float(sigma), 0.01))
        miss = np.abs(np.log(order) - logs[:, None] - wanted[None, :]).min(axis=1) / spread
        # against a line anywhere within an e-fold
        density = np.exp(-0.5 * miss**2) / (spread * np.sqrt(2 * np.pi)) / len(wanted)
        score += weight * np.log(1 - share + share * density)
    return score


# Without a belt every line of the motor is a whole order of the drum: share of lines that are the
# motor's or the drum's, and how far out such an order may lie (standard uncertainties of the
# scale, at most this share of the distance between orders).
WHOLE_SHARE = 0.7
SNAP_SPREAD = 0.0003
SNAP_SIGMAS = 3.0
SNAP_STEPS = 401
SNAP_REACH = 0.4


def snapped(refined: Refined, factor: float, sigma: float) -> tuple[float, float]:
    """The factor at which the lines are whole orders of the drum, and its uncertainty of ln.

    For a drive without a belt.  Lines of so high an order that the next whole one lies within the
    uncertainty of the factor say nothing.

    Args:
        refined: the course and its lines.
        factor: drum rate over course rate.
        sigma: standard uncertainty of ln(factor).
    """
    shift = np.linspace(-SNAP_SIGMAS * sigma, SNAP_SIGMAS * sigma, SNAP_STEPS)
    score = -0.5 * (shift / sigma) ** 2
    near = refined.orders[:, None] / factor * np.exp(-shift)
    use = (refined.orders / factor * SNAP_SIGMAS * sigma < SNAP_REACH) & (near[:, 0] > 0.9)
    for order, own, weight in zip(
        near[use], refined.order_sigma[use], refined.weight[use], strict=True
    ):
        spread = order * np.hypot(SNAP_SPREAD, min(float(own), 0.01))
        density = np.exp(-0.5 * ((order - np.round(order)) / spread) ** 2) / spread
        score += weight * np.log(1 - WHOLE_SHARE + WHOLE_SHARE * density / np.sqrt(2 * np.pi))
    share = np.exp(score - score.max())
    mean = float(np.average(shift, weights=share))
    spread_ln = float(np.sqrt(np.average((shift - mean) ** 2, weights=share)))
    return factor * float(np.exp(mean)), spread_ln


# Nats by which the motor's order must stand out among all that the tolerance allows.
LEAST_RATIO_NATS = 5.0
LEAST_RATIO_SHARE = 0.9
# Ratios closer than this share are one.
SAME_RATIO = 0.012


def measured_ratio(
    refined: Refined, factor: float, factor_sigma: float, prior: RatioPrior | None
) -> Estimate | None:
    """Motor turns per drum turn, where the motor's lines fix it; None where they do not.

    Args:
        refined: the course and its lines.
        factor: drum rate over course rate.
        factor_sigma: standard uncertainty of ln(factor).
        prior: what the profile knows.
    """
    if prior is None or prior.on_drum or not len(refined.orders):
        return None
    half = max(1, round(prior.tolerance / RATIO_STEP))
    logs = np.log(factor * prior.ratio) + RATIO_STEP * np.arange(-half, half + 1)
    score = _at_motor(refined, logs, prior)
    share = np.exp(score - score.max())
    near = np.abs(logs - logs[np.argmax(score)]) < SAME_RATIO
    if score.max() - np.median(score) < LEAST_RATIO_NATS:
        return None
    if share[near].sum() < LEAST_RATIO_SHARE * share.sum():
        return None
    mean = float(np.average(logs[near], weights=share[near]))
    spread = float(np.sqrt(np.average((logs[near] - mean) ** 2, weights=share[near])))
    ratio = float(np.exp(mean)) / factor
    return Estimate(value=ratio, standard_uncertainty=ratio * float(np.hypot(spread, factor_sigma)))
