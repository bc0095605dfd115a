"""Coast-down: what slows the drum once the motor is off.

    -J dn/dt = a + b n + c n^2     (dry friction, viscous, windage)

is fitted to the speed itself (integrated, not differentiated, so that noise is not blown up).  With
the inertia from the profile the drag is a torque; without it only the deceleration is known.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.track import Estimate, SpeedTrack

LEAST_FALL = 0.25  # share of its speed that the drum must lose before anything is fitted
LAW_SHARE = 0.01


@dataclass(frozen=True, kw_only=True, eq=False)
class CoastDown:
    """One coast-down.

    Attributes:
        start_s, end_s, from_rpm, to_rpm: what was used of it.
        time_s, residual_rpm: shape (n,), measured minus fitted speed.
        deceleration_rpm_per_s: at `reference_rpm` (in the middle of the range covered).
        reference_rpm: that speed.
        dry_share: share of the drag there that does not depend on speed (dry friction, brake).
        torque_nm: drag torque there; None without the drum's inertia.
        reason: why there is no number; "" otherwise.
    """

    start_s: float
    end_s: float
    from_rpm: float
    to_rpm: float
    time_s: NDArray[np.float64]
    residual_rpm: NDArray[np.float64]
    deceleration_rpm_per_s: Estimate | None = None
    reference_rpm: float | None = None
    dry_share: Estimate | None = None
    torque_nm: Estimate | None = None
    reason: str = ""


def coast_downs(track: SpeedTrack, *, inertia_kg_m2: float | None = None) -> tuple[CoastDown, ...]:
    """Every coast-down of the track, fitted; none where only ratios of speeds are known."""
    if track.scale == "relative":
        return ()
    coasting = (track.motion == "coasting") & track.known
    edges = np.flatnonzero(np.diff(np.concatenate([[False], coasting, [False]]).astype(np.int8)))
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if last - first >= 6:
            found.append(_fit(track, int(first), int(last), inertia_kg_m2))
    return tuple(found)


def _fit(track: SpeedTrack, first: int, last: int, inertia: float | None) -> CoastDown:
    from scipy.integrate import solve_ivp
    from scipy.optimize import least_squares

    time, speed = track.time_s[first:last], track.speed_rpm[first:last]
    u = np.maximum(np.nan_to_num(track.standard_uncertainty_rpm[first:last], nan=5.0), 0.2)
    empty = np.zeros(0)
    base = CoastDown(
        start_s=float(time[0]),
        end_s=float(time[-1]),
        from_rpm=float(speed[0]),
        to_rpm=float(speed[-1]),
        time_s=empty,
        residual_rpm=empty,
    )
    if speed[-1] > (1.0 - LEAST_FALL) * speed[0]:
        return replace(
            base,
            reason="the drum loses less than a quarter of its speed in the recording",
        )
    top = float(speed[0])
    t = time - time[0]

    def curve(p: NDArray[np.float64]) -> NDArray[Any]:
        a, b, c, start = p

        def slope(_t: float, n: NDArray[np.float64]) -> Any:
            x = np.maximum(n, 0.0) / top
            return -(a + b * x + c * x * x) * np.tanh(np.maximum(n, 0.0) / 5.0)

        path = solve_ivp(slope, (0.0, float(t[-1])), [start], t_eval=t, rtol=1e-6, atol=1e-3)
        complete = path.y.shape[1] == len(t)
        return path.y[0] if complete else np.full(len(t), 1e6)

    mean = (top - float(speed[-1])) / float(t[-1])
    best = least_squares(
        lambda p: (speed - curve(p)) / u,
        np.array([0.5 * mean, 0.25 * mean, 0.25 * mean, top]),
        bounds=([0.0, 0.0, 0.0, 0.5 * top], [np.inf, np.inf, np.inf, 1.5 * top]),
        x_scale=[mean, mean, mean, top],
    )
    residual = speed - curve(best.x)
    # Frames of a track are smoothed over several: count about a third as independent.
    chi = float(np.sqrt(np.mean((residual / u) ** 2)))
    covariance = np.linalg.pinv(best.jac.T @ best.jac) * 3.0 * max(chi, 1.0) ** 2
    middle = 0.5 * (top + float(speed[-1]))
    x = middle / top
    row = np.array([1.0, x, x * x, 0.0])
    rate = float(row @ best.x)
    # The three-term law is an approximation of friction and air: 1 % is its own.
    rate_u = float(np.hypot(np.sqrt(row @ covariance @ row), LAW_SHARE * rate))
    dry = float(best.x[0]) / rate
    dry_u = float(np.sqrt(covariance[0, 0])) / rate
    torque = None
    if inertia is not None:
        scale = inertia * 2.0 * np.pi / 60.0
        torque = Estimate(value=rate * scale, standard_uncertainty=rate_u * scale)
    return replace(
        base,
        time_s=time,
        residual_rpm=residual,
        deceleration_rpm_per_s=Estimate(value=rate, standard_uncertainty=rate_u),
        reference_rpm=middle,
        dry_share=Estimate(value=dry, standard_uncertainty=min(dry_u, 1.0)),
        torque_nm=torque,
    )
