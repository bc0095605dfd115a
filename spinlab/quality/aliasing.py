"""What a sampled recording shows of frequencies above half its rate (Shannon 1949)."""

from __future__ import annotations


def alias_of(frequency_hz: float, rate_hz: float) -> float:
    """The frequency in Hz, 0 to `rate_hz` / 2, at which `frequency_hz` appears when sampled.

    >>> round(alias_of(50.0, 92.04), 2)
    42.04
    >>> alias_of(20.0, 92.04)
    20.0
    """
    folded = abs(frequency_hz) % rate_hz
    return min(folded, rate_hz - folded)
