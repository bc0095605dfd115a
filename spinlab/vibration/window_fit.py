"""One window of samples at known angles: weighted least squares, solved once for many signals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Beside an order, in units of the window's resolution 1 / turns: outside the Hann main lobe (2),
# inside the next half order for eight turns.
_BESIDE = np.array([-2.8, -2.2, 2.2, 2.8])
_NOISE_WINDOWS = 5  # windows over which the noise beside an order is averaged


@dataclass(frozen=True, kw_only=True, eq=False)
class Reader:
    """What turns a window's samples into amplitudes and the noise beside them.

    Attributes:
        orders: number of orders k.
        matrix: shape (n, 2 k (1 + q)): real and imaginary rows of the k orders' least squares,
            then those of q orders in between for each, after the fit has taken its share, scaled
            so that their mean square is the variance of the amplitude in white noise.
    """

    orders: int
    matrix: NDArray[np.float64]

    def read(self, x: NDArray[np.float64]) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
        """Amplitudes and the standard deviation of each of their parts, both (..., k).

        x has shape (..., n); many windows at once are much quicker than one by one.
        """
        both = x @ self.matrix
        half = both.shape[-1] // 2
        seen = both[..., :half] + 1j * both[..., half:]
        amplitude, probes = seen[..., : self.orders], seen[..., self.orders :]
        power = np.abs(probes.reshape(*probes.shape[:-1], self.orders, -1)) ** 2
        return amplitude, np.asarray(np.sqrt(0.5 * np.mean(power, axis=-1)))


def reader(
    angle: NDArray[np.float64],
    orders: NDArray[np.float64],
    *,
    held: NDArray[np.bool_] | None = None,
) -> Reader:
    """Hann-weighted least squares over a window whose samples lie at `angle` (rad), shape (n,).

    Samples that are not `held`, shape (n,), are left out.
    """
    count = len(angle)
    weight = np.sin(np.pi * (np.arange(count) + 0.5) / count) ** 2
    if held is not None:
        weight = weight * held
    design = _design(angle, orders)
    weighted = design * weight[:, None]
    normal = design.T @ weighted
    solve = np.linalg.solve(normal, weighted.T)
    k = len(orders)
    rows = solve[2 : 2 + k] - 1j * solve[2 + k :]
    resolution = 2.0 * np.pi / max(angle[-1] - angle[0], 1e-9)
    beside = (orders[:, None] + _BESIDE * resolution).ravel()
    beside = np.where(beside > 0.5 * resolution, beside, np.abs(beside) + 3.0 * resolution)
    probe = np.exp(-1j * np.outer(angle, beside)) * weight[:, None]
    # What the fit takes from a probe is taken from the noise it sees as well.
    rest = probe - weighted @ np.linalg.solve(normal, design.T @ probe)
    own = np.sum(np.abs(rows) ** 2, axis=1)
    left = np.sum(np.abs(rest) ** 2, axis=0).reshape(k, -1)
    scaled = rest * np.sqrt(own[:, None] / left).ravel()
    all_rows = np.concatenate([rows.T, scaled], axis=1)
    return Reader(orders=k, matrix=np.concatenate([all_rows.real, all_rows.imag], axis=1))


def _design(angle: NDArray[np.float64], orders: NDArray[np.float64]) -> NDArray[np.float64]:
    """Columns: offset, drift, cosine of each order, sine of each order."""
    count = len(angle)
    ramp = np.linspace(-1.0, 1.0, count)
    phase = np.outer(angle, orders)
    return np.column_stack([np.ones(count), ramp, np.cos(phase), np.sin(phase)])


def smoothed_noise(noise: NDArray[np.float64]) -> NDArray[np.float64]:
    """Noise averaged in power over neighbouring windows, last axis; infinite stays infinite."""
    known = np.isfinite(noise)
    share = _running_mean(known.astype(np.float64), _NOISE_WINDOWS)
    power = _running_mean(np.where(known, noise, 0.0) ** 2, _NOISE_WINDOWS)
    return np.where(known, np.sqrt(power / np.maximum(share, 1e-9)), np.inf)


def _running_mean(values: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """Mean over the last axis in a centred window, shortened at the ends."""
    count = values.shape[-1]
    if count == 0:
        return values
    half = width // 2
    low = np.maximum(np.arange(count) - half, 0)
    high = np.minimum(np.arange(count) + half + 1, count)
    zero = np.zeros((*values.shape[:-1], 1))
    total = np.concatenate([zero, np.cumsum(values, axis=-1)], axis=-1)
    return np.asarray((total[..., high] - total[..., low]) / (high - low))
