"""The run-up: where a course rises most, which tells its top speed from what was followed before.

Before a spin the drum is not heard, and a path may stand on a pump's line or fall along a sideband
of the motor's carrier.  Its levels there are no speeds of the drum, and may be faster than any.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.refine import Refined
from spinlab.speed.runs import linked, run_numbers

TOP_QUANTILE = 0.97
# Frames of the median under which a single misread one makes no rise.
STEADY_FRAMES = 5


def top_of(refined: Refined) -> float:
    """ln(rate) of the fastest plateau: of the frames from the foot of the longest climb on.

    Of all frames where nothing carries the course.
    """
    carried = refined.carried
    if not carried.any():
        return float(np.quantile(refined.log_hz, TOP_QUANTILE))
    run = linked(refined, run_numbers(refined.time_s, refined.log_hz))
    foot = _foot(refined.log_hz[carried], run[carried])
    return float(np.quantile(refined.log_hz[carried][foot:], TOP_QUANTILE))


def _foot(log_hz: NDArray[np.float64], run: NDArray[np.int64]) -> int:
    """Frame from which the course rises most within a run whose parts go on from one another."""
    from scipy.ndimage import median_filter

    foot, most = 0, 0.0
    for number in np.unique(run):
        frames = np.flatnonzero(run == number)
        level = median_filter(log_hz[frames], STEADY_FRAMES, mode="nearest")
        climb = level - np.minimum.accumulate(level)
        end = int(np.argmax(climb))
        if climb[end] > most:
            most = float(climb[end])
            foot = int(frames[np.argmin(level[: end + 1])])
    return foot
