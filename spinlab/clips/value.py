"""A clip: which moment, which part of the spectrum, how slow, and what to listen for."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Clip:
    """One thing to listen to.

    Attributes:
        name: short, of letters, digits and hyphens: fit for a file's name.
        words: what to listen for, in one sentence.
        finding: index of the finding that it belongs to, None for the recording as a whole.
        start_s, end_s: on the file's own clock.
        band_hz: what is let through; None for everything.
        order: follows this multiple of the drum's rate instead of a fixed band.
        pace: 1 as recorded; 0.25 at a quarter of the pace and two octaves lower.
    """

    name: str
    words: str
    start_s: float
    end_s: float
    finding: int | None = None
    band_hz: tuple[float, float] | None = None
    order: float | None = None
    pace: float = 1.0
