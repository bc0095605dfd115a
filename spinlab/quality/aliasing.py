"""What a sampled recording shows of frequencies above half its rate (Shannon 1949)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def folded_hz(frequency_hz: float | NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Where frequencies appear in samples taken at `rate_hz`, Hz, same shape.

    >>> round(float(folded_hz(50.0, 92.04)), 2)
    42.04
    """
    f = np.asarray(frequency_hz, dtype=float)
    return np.asarray(np.abs(f - rate_hz * np.round(f / rate_hz)))


def alias_of(frequency_hz: float, rate_hz: float) -> float:
    """The frequency in Hz, 0 to `rate_hz` / 2, at which one frequency appears when sampled.

    >>> round(alias_of(50.0, 92.04), 2)
    42.04
    >>> alias_of(20.0, 92.04)
    20.0
    """
    return float(folded_hz(frequency_hz, rate_hz))
