"""Vold-Kalman filter, second generation: slowly varying complex envelopes of known phases.

Minimises, for K components at once,

    sum_n |x(n) - sum_k z_k(n) exp(i phi_k(n))|^2 + sum_k r_k^2 sum_n |D^p z_k(n)|^2

with D^p the p-th difference.  Components that cross or run close share the energy between them
by how smoothly each can follow it, which windows of fixed length cannot do.

References:
    Vold, Leuridan 1993, "High resolution order tracking at extreme slew rates", SAE 931288.
    Tuma 2005, "Setting the passband width in the Vold-Kalman order tracking filter", ICSV 12:
    the -3 dB bandwidth B follows from 1 + r^2 |1 - exp(-i pi B / fs)|^(2p) = sqrt 2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

POLES = 2
_DIFFERENCE = {1: np.array([1.0, -1.0]), 2: np.array([1.0, -2.0, 1.0])}


@dataclass(frozen=True, kw_only=True, eq=False)
class Envelopes:
    """Complex envelopes, shape (k, n): peak amplitude and phase of each component over time.

    `noise_gain` (k,) is the standard deviation of each part (real, imaginary) of an envelope per
    unit of standard deviation of white noise in the samples, away from the ends.
    """

    envelope: NDArray[np.complex128]
    noise_gain: NDArray[np.float64]


def weight_for_bandwidth(bandwidth_hz: float, rate_hz: float, *, poles: int = POLES) -> float:
    """The weight r^2 that gives a full -3 dB bandwidth (Tuma 2005)."""
    if not 0.0 < bandwidth_hz < rate_hz:
        raise ValueError("bandwidth_hz must lie between 0 and the sample rate")
    slope = 2.0 - 2.0 * np.cos(np.pi * bandwidth_hz / rate_hz)
    return float((np.sqrt(2.0) - 1.0) / slope**poles)


def vold_kalman(
    samples: NDArray[np.float64],
    rate_hz: float,
    phases_rad: Sequence[NDArray[np.float64]],
    *,
    bandwidth_hz: float | Sequence[float],
    poles: int = POLES,
) -> Envelopes:
    """Envelopes of K components with known phases in one channel.

    Args:
        samples: shape (n,), real.
        rate_hz: samples per second.
        phases_rad: K arrays of shape (n,): the running phase of each component.
        bandwidth_hz: full -3 dB bandwidth of each envelope; narrower is smoother and less noisy,
            but follows a ramp's amplitude less quickly.
        poles: order of the difference that is kept small, 1 or 2.

    Raises:
        ValueError: shapes do not match, or `poles` is neither 1 nor 2.
    """
    from scipy.linalg import solveh_banded

    x = np.asarray(samples, dtype=np.float64)
    count, lines = len(x), len(phases_rad)
    if poles not in _DIFFERENCE or any(len(p) != count for p in phases_rad) or lines == 0:
        raise ValueError("give at least one phase, each as long as samples, and 1 or 2 poles")
    if count <= poles:
        raise ValueError("too few samples for the filter's order")
    widths = np.broadcast_to(np.asarray(bandwidth_hz, dtype=float), (lines,))
    weights = [weight_for_bandwidth(float(b), rate_hz, poles=poles) for b in widths]
    carriers = np.exp(1j * np.asarray(phases_rad))
    band = _normal_equations(carriers, weights, poles)
    right = (np.conj(carriers) * x).T.ravel()
    solution = solveh_banded(band, right, lower=True, check_finite=False)
    envelope = 2.0 * solution.reshape(count, lines).T
    gains = np.array([_noise_gain(r2, poles) for r2 in weights])
    return Envelopes(envelope=envelope, noise_gain=gains)


def _normal_equations(
    carriers: NDArray[np.complex128], weights: Sequence[float], poles: int
) -> NDArray[np.complex128]:
    """Lower band of the normal matrix; unknowns interleaved: n K + k."""
    lines, count = carriers.shape
    band = np.zeros((poles * lines + 1, count * lines), dtype=complex)
    for k in range(lines):
        for j in range(lines - k):  # rows k + j, column k of the same sample
            cross = np.conj(carriers[k + j]) * carriers[k]
            band[j, k::lines] += cross
    difference = _DIFFERENCE[poles]
    for lag in range(poles + 1):
        column = np.zeros(count)
        for m in range(poles + 1 - lag):
            # Each row of D^p adds d[m] d[m + lag] to the entry (i + m + lag, i + m).
            column[m : count - poles + m] += difference[m] * difference[m + lag]
        for k in range(lines):
            band[lag * lines, k::lines] += weights[k] * column
    return band


def _noise_gain(r2: float, poles: int) -> float:
    """Standard deviation of one part of the envelope for unit white noise.

    The filter's gain is H = 1 / (1 + r^2 (2 - 2 cos w)^p); the mean of H^2 over all frequencies is
    the share of the noise that is left, times 2^2 / 2 for the peak amplitude's two parts.
    """
    # The pass band is narrow: put the points where it is.
    edge = (1.0 / max(r2, 1e-12)) ** (1.0 / (2 * poles))
    w = np.concatenate([np.linspace(0.0, min(20.0 * edge, np.pi), 4001)])
    gain = 1.0 / (1.0 + r2 * (2.0 - 2.0 * np.cos(w)) ** poles)
    share = float(np.trapezoid(gain**2, w) / np.pi)
    return float(np.sqrt(2.0 * share))
