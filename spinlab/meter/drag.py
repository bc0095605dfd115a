"""Drag power against speed: P = a + b n + c n^3, with residuals and the reading that misfits.

`a` stands for electronics and constant losses, `b n` for dry friction (constant torque), `c n^3`
for windage.  All three are negative in no machine, so the fit is a non-negative least squares
(Lawson and Hanson 1974, `scipy.optimize.nnls`) weighted by the meter's accuracy; the intervals come
from the unconstrained covariance and are therefore no narrower than the truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.meter.readings import MeterAccuracy, Reading
from spinlab.phrase import many, say
from spinlab.speed.track import Estimate

PARAMETERS = 3
_KRPM = 1000.0  # fitted in thousands of rpm to keep the matrix well scaled


@dataclass(frozen=True, kw_only=True, eq=False)
class DragFit:
    """The fitted power curve, or the reason why there is none.

    Attributes:
        speed_rpm, power_w: shape (k,), the readings used, in order of speed.
        standard_uncertainty_w: shape (k,), what the meter's accuracy gives each.
        constant_w, friction_w_per_rpm, windage_w_per_rpm3: a, b, c; None if not separable.
        residual_w: shape (k,), reading minus curve.
        misfit_p: chance of residuals this large by the meter alone (chi-square); None with
            no reading to spare.
        misfit: name of the reading whose removal cures the misfit, "" if none or undecided.
        misfit_excess_w: how far that reading lies off the curve through the others.
        reason: why there is no curve, or why the misfit has no name.
    """

    speed_rpm: NDArray[np.float64]
    power_w: NDArray[np.float64]
    standard_uncertainty_w: NDArray[np.float64]
    constant_w: Estimate | None = None
    friction_w_per_rpm: Estimate | None = None
    windage_w_per_rpm3: Estimate | None = None
    residual_w: NDArray[np.float64] | None = None
    misfit_p: float | None = None
    misfit: str = ""
    misfit_excess_w: Estimate | None = None
    reason: str = ""

    def power_at(self, speed_rpm: float) -> float | None:
        """Power on the fitted curve, or None without one."""
        a, b, c = self.constant_w, self.friction_w_per_rpm, self.windage_w_per_rpm3
        if a is None or b is None or c is None:
            return None
        return a.value + b.value * speed_rpm + c.value * speed_rpm**3


def fit_drag(
    readings: Sequence[Reading],
    *,
    accuracy: MeterAccuracy | None = None,
    misfit_level: float = 0.01,
) -> DragFit:
    """Fit the drag curve to every reading that has both a speed and a power.

    Args:
        readings: the technician's notes; the others are passed over.
        accuracy: the meter's accuracy.
        misfit_level: chance below which residuals count as a misfit.
    """
    accuracy = accuracy or MeterAccuracy()
    used = sorted(
        (r for r in readings if r.speed_rpm is not None and r.power_w is not None),
        key=lambda r: r.speed_rpm or 0.0,
    )
    n = np.array([r.speed_rpm for r in used], dtype=float)
    p = np.array([r.power_w for r in used], dtype=float)
    u = np.array([accuracy.standard_uncertainty(x, accuracy.power_w) for x in p], dtype=float)
    distinct = len(np.unique(np.round(n / 10.0)))
    if distinct < PARAMETERS:
        return DragFit(
            speed_rpm=n,
            power_w=p,
            standard_uncertainty_w=u,
            reason=many(
                "power at {count} speed: the curve needs three, and a fourth before a reading can "
                "be said not to fit",
                "power at {count} speeds: the curve needs three, and a fourth before a reading can "
                "be said not to fit",
                count=distinct,
            ),
        )
    values, residual, chi2 = _solve(n, p, u)
    spare = len(n) - PARAMETERS
    misfit_p = _chance(chi2, spare)
    name, excess, reason = "", None, ""
    if misfit_p is not None and misfit_p < misfit_level:
        name, excess, reason = _blame(used, n, p, u, misfit_level)
    return DragFit(
        speed_rpm=n,
        power_w=p,
        standard_uncertainty_w=u,
        constant_w=values[0],
        friction_w_per_rpm=values[1],
        windage_w_per_rpm3=values[2],
        residual_w=residual,
        misfit_p=misfit_p,
        misfit=name,
        misfit_excess_w=excess,
        reason=reason,
    )


def _design(n: NDArray[np.float64]) -> NDArray[np.float64]:
    x = n / _KRPM
    return np.column_stack([np.ones_like(x), x, x**3])


def _solve(
    n: NDArray[np.float64], p: NDArray[np.float64], u: NDArray[np.float64]
) -> tuple[list[Estimate], NDArray[np.float64], float]:
    """Non-negative weighted least squares: parameters per rpm, residuals, chi-square."""
    from scipy.optimize import nnls

    design = _design(n)
    weighted = design / u[:, None]
    solution, norm = nnls(weighted, p / u)
    covariance = np.linalg.pinv(weighted.T @ weighted)
    scale = np.array([1.0, _KRPM, _KRPM**3])
    deviations = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    values = [
        Estimate(value=float(v / s), standard_uncertainty=float(d / s))
        for v, d, s in zip(solution, deviations, scale, strict=True)
    ]
    return values, p - design @ solution, float(norm**2)


def _chance(chi2: float, spare: int) -> float | None:
    """Upper tail of the chi-square law, None without degrees of freedom."""
    if spare < 1:
        return None
    from scipy.stats import chi2 as law

    return float(law.sf(chi2, spare))


def _blame(
    used: Sequence[Reading],
    n: NDArray[np.float64],
    p: NDArray[np.float64],
    u: NDArray[np.float64],
    level: float,
) -> tuple[str, Estimate | None, str]:
    """The one reading whose removal leaves a good fit, if exactly one does."""
    if len(n) < PARAMETERS + 2:
        return "", None, "one reading does not fit, but five are needed to say which"
    cures: list[tuple[float, int, Estimate]] = []
    for k in range(len(n)):
        keep = np.arange(len(n)) != k
        values, _, chi2 = _solve(n[keep], p[keep], u[keep])
        expected = values[0].value + values[1].value * n[k] + values[2].value * n[k] ** 3
        chance = _chance(chi2, int(keep.sum()) - PARAMETERS)
        if chance is not None and chance >= level:
            spread = float(np.hypot(u[k], _predicted_deviation(n[keep], u[keep], n[k])))
            excess = Estimate(value=float(p[k] - expected), standard_uncertainty=spread)
            cures.append((chance, k, excess))
    if not cures:
        return "", None, "more than one reading is off the curve, or the drag changed between them"
    cures.sort(reverse=True, key=lambda cure: cure[0])
    if len(cures) > 1 and cures[1][0] > 0.1 * cures[0][0]:
        names = " or ".join(used[k].name for _, k, _ in cures[:2])
        return (
            "",
            None,
            say("one reading does not fit: {names}; a further reading would tell", names=names),
        )
    return used[cures[0][1]].name, cures[0][2], ""


def _predicted_deviation(n: NDArray[np.float64], u: NDArray[np.float64], at_rpm: float) -> float:
    """Standard uncertainty of the curve at a speed, from the readings it was fitted to."""
    weighted = _design(n) / u[:, None]
    row = _design(np.array([at_rpm]))[0]
    return float(np.sqrt(row @ np.linalg.pinv(weighted.T @ weighted) @ row))
