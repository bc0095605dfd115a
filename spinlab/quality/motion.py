"""Quality of acceleration logs: the sensor's own rate, range and the band that it can carry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinlab.reading.grid import SPLINE_SHARE
from spinlab.recording import Recording

BLOCK_S = 60.0
# A log read faster than its sensor delivers repeats readings; noise repeats one now and then.
HELD_SHARE = 0.2
# One period of the lowest frequency must fit this often for its level to mean anything.
_PERIODS = 5
# Full ranges that sensors in phones are set to, in units of gravity (vendors' data sheets).
RANGES_G = (2, 4, 8, 16)


@dataclass(frozen=True, kw_only=True)
class Motion:
    """Share of repeated readings and the usable band in Hz."""

    held_share: float
    usable_band_hz: tuple[float, float] | None


def measure_motion(recording: Recording) -> Motion:
    """What a log's sensor delivered."""
    held = count = 0
    for _, block in recording.blocks(BLOCK_S, 1 / recording.rate_hz):
        held += int(np.sum((np.diff(block, axis=1) == 0).all(axis=0)))
        count += max(0, block.shape[1] - 1)
    share = held / count if count else 0.0
    high = recording.rate_hz / 2
    if recording.clock is not None and recording.clock.resampled:
        high = recording.rate_hz * SPLINE_SHARE
    if share > HELD_SHARE:
        high = min(high, recording.rate_hz / 2 * (1 - share))
    low = _PERIODS / recording.duration_s
    return Motion(held_share=share, usable_band_hz=(low, high) if low < high else None)
