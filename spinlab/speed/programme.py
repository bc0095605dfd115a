"""Programme: what the plateaus that a profile expects say of the scale."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.refine import Refined

# The programme may choose among readings, at this many nats for each plateau that fits within this
# share, but it cannot move one: a drum slow by a few percent fits as well as one on the dot.
PROGRAMME_NATS = 2.5
PROGRAMME_SPREAD = 0.05
PROGRAMME_LIMIT = 8.0
LEVEL_FRAMES = 7
LEVEL_SHARE = 0.006
# Levels closer than this share are one.
SAME_LEVEL = 0.012


def programme_evidence(
    refined: Refined, factors: NDArray[np.float64], programme_rpm: tuple[float, ...]
) -> NDArray[np.float64]:
    """What a profile's plateaus say of each factor, given the levels at which the course rests."""
    levels = resting_levels(refined.log_hz)
    if not programme_rpm or len(levels) < 2:
        return np.zeros(len(factors))
    wanted = np.log(np.array(programme_rpm) / 60.0)
    speed = levels[:, None] + np.log(factors)[None, :]
    miss = np.abs(speed[:, :, None] - wanted).min(axis=2) / PROGRAMME_SPREAD
    fit = PROGRAMME_NATS * (np.exp(-0.5 * miss**2) - 0.3)
    return np.clip(fit.sum(axis=0), -PROGRAMME_LIMIT, PROGRAMME_LIMIT)


def resting_levels(log_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distinct levels at which a course rests for a couple of seconds, ln(Hz)."""
    levels: list[float] = []
    for k in range(len(log_hz) - LEVEL_FRAMES + 1):
        part = log_hz[k : k + LEVEL_FRAMES]
        if np.ptp(part) < LEVEL_SHARE:
            level = float(np.median(part))
            if all(abs(level - other) > SAME_LEVEL for other in levels):
                levels.append(level)
    return np.array(levels)
