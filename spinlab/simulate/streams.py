"""Named random streams of one seed, so that adding a source never changes another one."""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


def stream(seed: int, name: str) -> np.random.Generator:
    """The generator that belongs to `name` under `seed`."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])


def wander(
    rng: np.random.Generator, count: int, rate_hz: float, corner_hz: float
) -> NDArray[np.float64]:
    """Zero-mean unit-variance noise below `corner_hz` on a grid of `rate_hz`, shape (count,)."""
    from scipy.signal import lfilter

    pole = np.exp(-2.0 * np.pi * corner_hz / rate_hz)
    lead = int(5.0 * rate_hz / (2.0 * np.pi * corner_hz)) + 1
    white = rng.standard_normal(count + lead)
    shaped = lfilter([np.sqrt(1.0 - pole * pole)], [1.0, -pole], white)
    kept: NDArray[np.float64] = shaped[lead:]
    return kept


def gain(level_db: float) -> float:
    """Amplitude factor of a level in dB."""
    return float(10.0 ** (level_db / 20.0))
