"""How the first order grows with speed: the quadratic law of unbalance, and what departs from it.

Well above its resonance the tub moves by a constant m e / M whatever the speed, so its acceleration
grows with the square of the speed (any textbook on rotating unbalance, e.g. Den Hartog 1956,
chapter 2).  The exponent is fitted and stated with its interval; a quadratic law is not assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.speed.track import Estimate
from spinlab.vibration.tracking import OrderTrack

LEAST_SPEED_RATIO = 1.3  # fastest over slowest: less leaves the exponent unknown
LEAST_SIGNAL_TO_NOISE = 3.0
BIN_RPM = 25.0  # windows of one speed are not independent: they are averaged first
LEAST_BINS = 4
LEAST_BIN_SHARE = 0.25  # of the speeds looked at: a few that stand out may do so by chance
BUMP_FACTOR, BUMP_SIGMA = 1.3, 3.0


@dataclass(frozen=True, kw_only=True)
class Bump:
    """A speed at which an order stands above its law: a resonance of the cabinet, say."""

    speed_rpm: float
    frequency_hz: float
    factor: float


@dataclass(frozen=True, kw_only=True, eq=False)
class GrowthLaw:
    """The fitted law a = c n^exponent, or the reason why there is none.

    Attributes:
        exponent: 2 for unbalance above resonance.
        eccentricity_um: displacement at the sensor's place if the law is quadratic, peak.
        speed_rpm, acceleration_m_s2, standard_uncertainty: shape (b,), the points fitted.
        scatter_percent: RMS departure of the points from the law.
        bumps: speeds where the order stands above the law.
        reason: why it could not be fitted; "" otherwise.
    """

    exponent: Estimate | None = None
    eccentricity_um: Estimate | None = None
    speed_rpm: NDArray[np.float64]
    acceleration_m_s2: NDArray[np.float64]
    standard_uncertainty: NDArray[np.float64]
    scatter_percent: float | None = None
    bumps: tuple[Bump, ...] = ()
    reason: str = ""

    @property
    def quadratic(self) -> bool | None:
        """Whether 2 lies in the exponent's 95 % interval; None without an exponent."""
        if self.exponent is None:
            return None
        return abs(self.exponent.value - 2.0) <= 1.96 * self.exponent.standard_uncertainty


def growth_law(orders: OrderTrack, *, order: float = 1.0, above_rpm: float = 400.0) -> GrowthLaw:
    """Fit the growth of an order with speed above `above_rpm` (well above the tub's resonance)."""
    speed, size, u = _points(orders, order, above_rpm)
    blank = GrowthLaw(speed_rpm=speed, acceleration_m_s2=size, standard_uncertainty=u)
    looked_at = len(np.unique(np.round(orders.speed_rpm[orders.speed_rpm >= above_rpm] / BIN_RPM)))
    few = len(speed) < max(LEAST_BINS, LEAST_BIN_SHARE * looked_at)
    if few or speed.max() < LEAST_SPEED_RATIO * speed.min():
        return replace(
            blank,
            reason=say(
                "order {order:g} stands out of the noise at too few speeds above "
                "{above:g} rpm to tell how it grows",
                order=order,
                above=above_rpm,
            ),
        )
    x, y = np.log(speed / 1000.0), np.log(size)
    spread = u / size
    slope, level, covariance, scatter = _robust_line(x, y, spread)
    residual = y - level - slope * x
    # A law that the points do not follow is known no better than they follow it.
    inflation = max(1.0, scatter)
    exponent = Estimate(
        value=slope, standard_uncertainty=inflation * float(covariance[0, 0] ** 0.5)
    )
    return replace(
        blank,
        exponent=exponent,
        eccentricity_um=_eccentricity(speed, size, u, orders, order),
        scatter_percent=100.0 * float(np.sqrt(np.mean(residual**2))),
        bumps=_bumps(speed, residual, spread, order),
    )


def _points(
    orders: OrderTrack, order: float, above_rpm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Mean size per speed bin with its standard uncertainty, noise power removed."""
    size, u = orders.size(order), orders.size_uncertainty(order)
    good = orders.usable(order) & (orders.speed_rpm >= above_rpm) & (u > 0) & np.isfinite(u)
    noise_power = 2.0 * np.sum(orders.standard_uncertainty[orders.index(order)] ** 2, axis=0)
    clean = np.sqrt(np.maximum(size**2 - noise_power, 0.0))
    good &= clean > LEAST_SIGNAL_TO_NOISE * u
    bins = np.round(orders.speed_rpm / BIN_RPM)
    points = []
    for b in np.unique(bins[good]):
        here = good & (bins == b)
        values = clean[here]
        count = int(here.sum())
        # Half-overlapping windows: about two thirds of them are independent.
        independent = max(1.0, 2.0 * count / 3.0)
        scatter = float(values.std(ddof=1)) if count > 2 else 0.0
        spread = max(float(np.sqrt(np.mean(u[here] ** 2))), scatter) / np.sqrt(independent)
        points.append((float(np.mean(orders.speed_rpm[here])), float(values.mean()), spread))
    table = np.array(points).reshape(-1, 3)
    return table[:, 0], table[:, 1], table[:, 2]


def _robust_line(
    x: NDArray[np.float64], y: NDArray[np.float64], spread: NDArray[np.float64]
) -> tuple[float, float, NDArray[np.float64], float]:
    """Weighted line, points far off (a cabinet resonance) weighted down by Huber's rule.

    Returns slope, level, covariance at the stated spreads, and how much larger the scatter is.
    """
    design = np.column_stack([x, np.ones_like(x)])
    floor = np.hypot(spread, 0.01)  # coupling and place: no sensor on a panel is better than 1 %
    robust = np.ones_like(x)
    for _ in range(8):
        weight = robust / floor**2
        normal = design.T @ (design * weight[:, None])
        solution = np.linalg.solve(normal, design.T @ (weight * y))
        residual = (y - design @ solution) / floor
        scale = max(1.0, 1.4826 * float(np.median(np.abs(residual))))
        robust = np.minimum(1.0, 1.5 * scale / np.maximum(np.abs(residual), 1e-12))
    inverse = np.linalg.inv(design.T @ (design * (robust / floor**2)[:, None]))
    spare = max(len(x) - 2, 1)
    scatter = float(np.sqrt(np.sum(robust * residual**2) / spare))
    return float(solution[0]), float(solution[1]), inverse, scatter


def _eccentricity(
    speed: NDArray[np.float64],
    size: NDArray[np.float64],
    u: NDArray[np.float64],
    orders: OrderTrack,
    order: float,
) -> Estimate:
    """Weighted mean of displacement over the points, in um peak; scatter counts as uncertainty."""
    w = 2.0 * np.pi * order * speed / 60.0
    displacement, spread = 1e6 * size / w**2, 1e6 * u / w**2
    weight = 1.0 / np.maximum(spread, 1e-12) ** 2
    mean = float(np.sum(weight * displacement) / weight.sum())
    inner = float(1.0 / np.sqrt(weight.sum()))
    outer = float(displacement.std(ddof=1) / np.sqrt(len(speed)))
    relative = 2.0 * float(np.median(orders.speed_uncertainty_rpm) / np.median(speed))
    return Estimate(
        value=mean, standard_uncertainty=float(np.hypot(max(inner, outer), relative * mean))
    )


def _bumps(
    speed: NDArray[np.float64],
    residual: NDArray[np.float64],
    spread: NDArray[np.float64],
    order: float,
) -> tuple[Bump, ...]:
    """Local maxima that stand above the law by 30 % and three standard uncertainties."""
    found = []
    for k in range(len(speed)):
        neighbours = residual[max(0, k - 1) : k + 2]
        high = residual[k] > np.log(BUMP_FACTOR) and residual[k] > BUMP_SIGMA * spread[k]
        if high and residual[k] == neighbours.max():
            found.append(
                Bump(
                    speed_rpm=float(speed[k]),
                    frequency_hz=float(order * speed[k] / 60.0),
                    factor=float(np.exp(residual[k])),
                )
            )
    return tuple(found)
