"""Standing tones and beats: what keeps its frequency for seconds proves no movement.

Hum that starts half-way, a pump that runs for a while, a fan: none of them lasts for the whole
recording, so no average over the recording finds them.  A plateau of the drum stands as well.  So
what stands is set aside only while it is being found out what moves; once the moving family is
known, its plateaus count.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats, LogGrid

# A tone that keeps within a cell this long stands; no ramp of a spin test is as slow.
STANDS_S = 4.5
# Mean nats per frame over that time, each frame limited so that a single loud one cannot do it.
LEAST_MEAN = 0.35
FRAME_LIMIT = 2.0
# Low lines are many cells wide: one that moves slowly passes over a cell in less than this share.
LEAST_SHARE = 0.75
LOW_HZ = 40.0
# Chirp rates (1/s) at which a standing tone shows: a frame of a second hardly tells them from 0.
STANDING_ALPHA = 0.07


def standing_cells(
    values: NDArray[np.floating[Any]], alphas: NDArray[np.float64], grid: LogGrid, *, hop_s: float
) -> NDArray[np.bool_]:
    """Where evidence keeps its frequency, shape (frames, cells).

    Args:
        values: evidence in nats, shape (frames, alphas, cells), 0 where nothing is told.
        alphas: shape (alphas,), 1/s.
        grid: the grid whose first cells `values` covers.
        hop_s: time between frames.
    """
    from scipy.ndimage import maximum_filter1d, uniform_filter1d

    size = max(3, round(STANDS_S / hop_s)) | 1
    near = values[:, len(alphas) // 2].astype(np.float32)
    limited = np.minimum(near, np.float32(FRAME_LIMIT))
    mean = uniform_filter1d(limited, size, axis=0, mode="constant", cval=float(limited.min()))
    long = (mean > LEAST_MEAN).astype(np.uint8)
    low = (near[:, : grid.cell_of(LOW_HZ)] > 0).astype(np.float32)
    long[:, : low.shape[1]] &= uniform_filter1d(low, size, axis=0, mode="constant") > LEAST_SHARE
    stands = maximum_filter1d(long, size, axis=0, mode="constant")
    return maximum_filter1d(stands, 3, axis=1, mode="nearest").astype(bool)


def without_standing(
    values: Floats, stands: NDArray[np.bool_], alphas: NDArray[np.float64]
) -> Floats:
    """The evidence with nothing said where a tone stands, in place.

    Args:
        values: evidence in nats, shape (frames, alphas, cells).
        stands: from `standing_cells`, shape (frames, cells).
        alphas: shape (alphas,), 1/s.
    """
    for row in np.flatnonzero(np.abs(alphas) < STANDING_ALPHA):
        values[:, row][stands] = 0.0
    return values
