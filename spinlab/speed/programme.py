"""Programme: what the plateaus that a profile expects say of the scale."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.refine import Refined

LEVEL_FRAMES = 7
LEVEL_SHARE = 0.006
# Levels closer than this share are one.
SAME_LEVEL = 0.012
# Share of levels that are plateaus of the programme; the others may lie anywhere in this range of
# ln(speed), from tumbling to the fastest spin.
PLATEAU_SHARE = 0.7
ANYWHERE = 3.4
# The plateaus keep their distances from each other this well (share), for one controller makes
# them all; together they may be slow or fast by a little, or now and then by much.
APART_SIGMA = 0.006
USUAL_OFFSET = 0.015
LARGE_OFFSET = 0.08
LARGE_SHARE = 0.2
STEP = 0.001
# The programme may choose among readings; it may not drown what was measured (nats).
PROGRAMME_LIMIT = 12.0


def programme_evidence(
    refined: Refined, factors: NDArray[np.float64], programme_rpm: tuple[float, ...]
) -> NDArray[np.float64]:
    """Log-likelihood of the levels at which the course rests, over levels anywhere.

    Args:
        refined: the course.
        factors: shape (factors,), uniform in the logarithm, drum rate over course rate.
        programme_rpm: the plateaus that a profile expects.
    """
    levels = resting_levels(refined.log_hz)
    if not programme_rpm or len(levels) < 2:
        return np.zeros(len(factors))
    reach = round(3.0 * LARGE_OFFSET / STEP)
    logs = np.log(factors[0]) + STEP * np.arange(-reach, len(factors) + reach)
    wanted = np.log(np.array(programme_rpm) / 60.0)
    miss = levels[:, None, None] + logs[None, :, None] - wanted
    density = _normal(miss, APART_SIGMA).sum(axis=2) / len(wanted)
    fit = np.log(1.0 - PLATEAU_SHARE + PLATEAU_SHARE * ANYWHERE * density).sum(axis=0)
    offsets = STEP * np.arange(-reach, reach + 1, dtype=np.float64)
    usual, large = _normal(offsets, USUAL_OFFSET), _normal(offsets, LARGE_OFFSET)
    kernel = STEP * ((1.0 - LARGE_SHARE) * usual + LARGE_SHARE * large)
    highest = fit.max()
    together = highest + np.log(np.convolve(np.exp(fit - highest), kernel, mode="valid"))
    return np.clip(together, -PROGRAMME_LIMIT, PROGRAMME_LIMIT)


def _normal(miss: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    density: NDArray[np.float64] = np.exp(-0.5 * (miss / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
    return density


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
