"""The least variance that any unbiased estimate of a speed can have, and how near the track comes.

Cramer-Rao bounds for sinusoids in white Gaussian noise, n samples at `rate_hz`, amplitudes and
phases unknown.  Sources: Rife and Boorstyn, IEEE Trans. Inf. Theory 20, 1974 (one tone);
Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, example 3.14 (real
tone); Christensen and Jakobsson, Multi-Pitch Estimation, 2009 (harmonics); Djuric and Kay, IEEE
Trans. ASSP 38, 1990 (chirp).  Cited from memory; each formula is checked against the numeric
Fisher matrix in `test_bound.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
TWO_PI = 2.0 * np.pi


def tone_variance(snr: float, rate_hz: float, count: int) -> float:
    """Bound on the variance of a real tone's frequency, Hz^2; `snr` is A^2 / (2 s^2)."""
    return 12.0 * rate_hz**2 / (TWO_PI**2 * snr * count * (count**2 - 1.0))


def fundamental_variance(
    orders: Sequence[float] | Floats,
    amplitudes: Sequence[float] | Floats,
    noise_variance: float,
    rate_hz: float,
    count: int,
) -> float:
    """Bound on the variance of a rate whose harmonics `orders` are heard, Hz^2."""
    slope = float(np.sum((np.asarray(orders) * np.asarray(amplitudes)) ** 2))
    return 24.0 * noise_variance * rate_hz**2 / (TWO_PI**2 * count * (count**2 - 1.0) * slope)


def chirp_rate_variance(snr: float, rate_hz: float, count: int) -> float:
    """Bound on the variance of a linear chirp's rate, (Hz/s)^2."""
    size = count * (count**2 - 1.0) * (count**2 - 4.0)
    return 720.0 * rate_hz**4 / (TWO_PI**2 * snr * size)


def numeric_variance(
    signal: Callable[[Floats], Floats], parameters: Floats, noise_variance: float
) -> float:
    """Bound on the variance of the first parameter from the Fisher matrix, by differences.

    For a mean signal m(p) in white Gaussian noise of variance s^2 the Fisher matrix is J'J / s^2,
    J the derivative of m (Kay 1993, section 3.9); no formula of this module enters.

    Args:
        signal: from parameters to the noise-free samples, shape (n,).
        parameters: shape (k,), the true values.
        noise_variance: s^2.
    """
    columns = []
    for k, value in enumerate(parameters):
        step = 1e-6 * max(abs(value), 1e-2)
        up, down = parameters.copy(), parameters.copy()
        up[k], down[k] = value + step, value - step
        columns.append((signal(up) - signal(down)) / (2.0 * step))
    slopes = np.stack(columns, axis=1)
    scale = np.linalg.norm(slopes, axis=0)
    information = (slopes / scale).T @ (slopes / scale) / noise_variance
    return float(np.linalg.inv(information)[0, 0] / scale[0] ** 2)


def harmonic_signal(
    orders: Sequence[float], rate_hz: float, count: int
) -> Callable[[Floats], Floats]:
    """The mean of the harmonic model over its parameters: rate, amplitudes, phases."""
    time_s = np.arange(count) / rate_hz
    lines = np.asarray(orders, dtype=float)

    def signal(parameters: Floats) -> Floats:
        amplitude = parameters[1 : 1 + len(lines)]
        phase = parameters[1 + len(lines) :]
        angle = TWO_PI * parameters[0] * lines[:, None] * time_s[None, :] + phase[:, None]
        return np.asarray((amplitude[:, None] * np.cos(angle)).sum(axis=0))

    return signal


def best_rate(
    samples: Floats, rate_hz: float, orders: Sequence[float], near_hz: float, reach_hz: float
) -> float:
    """The rate near `near_hz` whose orders explain most of the samples' power, by least squares.

    In white noise this is maximum likelihood (Christensen and Jakobsson 2009, chapter 2): what a
    bound allows, given that the right peak is known.
    """
    from scipy.optimize import minimize_scalar

    turns = np.arange(len(samples)) / rate_hz

    def explained(rate: float) -> float:
        angle = TWO_PI * rate * np.outer(np.asarray(orders, dtype=float), turns)
        lines = np.concatenate([np.cos(angle), np.sin(angle)])
        match = lines @ samples
        return float(match @ np.linalg.solve(lines @ lines.T, match))

    found = minimize_scalar(
        lambda rate: -explained(rate),
        bounds=(near_hz - reach_hz, near_hz + reach_hz),
        method="bounded",
        options={"xatol": 1e-4 * reach_hz},
    )
    return float(found.x)
