"""Damping of a resonance from the width of its peak at half power: right for a slow sweep only."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.track import Estimate


def half_power(
    drum_hz: NDArray[np.float64],
    size: NDArray[np.float64],
    u: NDArray[np.float64],
    *,
    above_hz: float,
) -> Estimate | None:
    """Damping from the half-power points of the receptance; its spread by first differences."""
    order = np.argsort(drum_hz)
    f, receptance = drum_hz[order], size[order] / drum_hz[order] ** 4
    relative = (u / np.maximum(size, 1e-30))[order]
    peak = int(np.argmax(np.where(f > above_hz, receptance, 0.0)))
    half = receptance[peak] / np.sqrt(2.0)
    below = np.flatnonzero(receptance[:peak] < half)
    above = np.flatnonzero(receptance[peak:] < half)
    if not len(below) or not len(above):
        return None
    k1, k2 = int(below[-1]), peak + int(above[0])
    f1, s1 = _crossing(f, receptance, k1, half)
    f2, s2 = _crossing(f, receptance, k2 - 1, half)
    z = _damping(f1, f2, f[peak])
    shift = relative[peak] * half
    dz1 = _damping(f1 + shift / max(abs(s1), 1e-30), f2, f[peak]) - z
    dz2 = _damping(f1, f2 + shift / max(abs(s2), 1e-30), f[peak]) - z
    return Estimate(value=z, standard_uncertainty=float(max(np.hypot(dz1, dz2), 0.02 * z)))


def _damping(f1: float, f2: float, f0: float) -> float:
    """Solve f2^2 - f1^2 = 4 z sqrt(1 - z^2) f0^2 for z."""
    q = min((f2**2 - f1**2) / (4.0 * f0**2), 0.5)
    return float(np.sqrt(0.5 * (1.0 - np.sqrt(max(1.0 - 4.0 * q * q, 0.0)))))


def _crossing(
    f: NDArray[np.float64], value: NDArray[np.float64], k: int, level: float
) -> tuple[float, float]:
    """Where a line between samples k and k + 1 meets a level, and its slope there."""
    step = max(float(f[k + 1] - f[k]), 1e-9)
    slope = float(value[k + 1] - value[k]) / step
    if slope == 0.0:
        return float(f[k]), 1e-30
    return float(f[k] + (level - value[k]) / slope), slope
