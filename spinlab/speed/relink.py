"""Relinking: the stretches of a path that follow the right lines under the wrong order.

Where few of a family's lines are heard, one of them may be taken for another; the path then leaps
by the ratio of the two, which no drum can.  Each stretch is moved by the ratio that brings it
within reach of its better known neighbour, if its own lines allow it there, or else is dropped.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats
from spinlab.speed.family import Family
from spinlab.speed.maps import Maps
from spinlab.speed.path import UNHEARD_RATE, Path

# Nats per frame (mean of three frames) that carry a path, the least frames of a stretch, and the
# nats per frame that a stretch needs at the place where it is moved to.
CARRYING = 1.0
LEAST_FRAMES = 5
LEAST_MOVED = 0.6
# Of places that hold this share of the best one's evidence the nearest is taken.
CLOSE_SHARE = 0.3
# No followed line changes by more than this share (ln) between frames.
LARGEST_LEAP = 0.3
# What a cell more or less may be, in ln(speed).
SLACK = 0.03


def relinked(path: Path, along: Floats, family: Family, maps: Maps) -> Path:
    """The path with each carried stretch within reach of its neighbours.

    Args:
        path: a path.
        along: evidence of the family at the path's chirp rates, shape (frames, cells).
        family: the family of lines.
        maps: the recording's maps.
    """
    stretches = carried_stretches(path, along, LARGEST_LEAP / maps.grid.step)
    if len(stretches) < 2:
        return path
    weight = [float(along[s, path.cell[s]].sum()) for s in stretches]
    anchor = int(np.argmax(weight))
    cell = path.cell.copy()
    step, hop_s = maps.grid.step, maps.hop_s
    moves = np.unique((family.offsets[:, None] - family.offsets[None, :]).ravel())
    for direction in (1, -1):
        known = stretches[anchor]
        k = anchor + direction
        while 0 <= k < len(stretches):
            stretch = stretches[k]
            near, far = (stretch[0], known[-1]) if direction > 0 else (stretch[-1], known[0])
            reach = SLACK + UNHEARD_RATE * hop_s * abs(int(near) - int(far))
            leap = np.abs(cell[near] - cell[far] + moves) * step
            fits = moves[leap <= reach]
            mean = np.array([_mean_at(along, path, stretch, int(move)) for move in fits])
            if len(fits) and mean.max() >= LEAST_MOVED:
                told = mean >= max(LEAST_MOVED, CLOSE_SHARE * mean.max())
                cell[stretch] += int(fits[told][int(np.argmin(leap[leap <= reach][told]))])
                known = stretch
            else:
                cell[stretch] = -1
            k += direction
    heard = np.zeros(len(cell), bool)
    heard[np.concatenate(stretches)] = True
    cell[~heard] = -1
    return Path(cell=cell, alpha=np.where(cell >= 0, path.alpha, -1), score=path.score)


def carried_stretches(path: Path, along: Floats, leap_cells: float) -> list[NDArray[np.int64]]:
    """Frames of each stretch that the family's evidence carries, unbroken by a leap."""
    from scipy.ndimage import uniform_filter1d

    frames = np.arange(len(path.cell))
    on_path = np.where(path.cell >= 0, along[frames, path.cell], 0.0)
    carried = (uniform_filter1d(on_path, 3, mode="nearest") > CARRYING) & (path.cell >= 0)
    breaks = (np.diff(carried.astype(int)) != 0) | (np.abs(np.diff(path.cell)) > leap_cells)
    parts = np.split(frames, np.flatnonzero(breaks) + 1)
    return [p for p in parts if carried[p[0]] and len(p) >= LEAST_FRAMES]


def _mean_at(along: Floats, path: Path, stretch: NDArray[np.int64], move: int) -> float:
    """Mean evidence of a stretch moved by so many cells."""
    cell = path.cell[stretch] + move
    if cell.min() < 0 or cell.max() >= along.shape[1]:
        return -np.inf
    return float(along[stretch, cell].mean())
