"""Short knocks at given moments, rendered through a structure that rings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.streams import Samples
from spinlab.simulate.structure import convolve
from spinlab.simulate.timebase import Timebase


@dataclass(frozen=True, kw_only=True, eq=False)
class Events:
    """Moments in machine time (s) and the strength of each, shape (n,)."""

    time_s: NDArray[np.float64]
    strength: NDArray[np.float64]


def render(events: Events, ringing: Samples, base: Timebase) -> Samples:
    """Each event sets off `ringing` (scaled to unit peak) at its place between the samples."""
    place = (events.time_s - base.time_s[0]) / (base.time_s[1] - base.time_s[0])
    kept = (place >= 0.0) & (place < base.count - 1)
    place, strength = place[kept], events.strength[kept]
    index = place.astype(np.int64)
    part = place - index
    train = np.bincount(index, strength * (1.0 - part), base.count)
    train += np.bincount(index + 1, strength * part, base.count)
    peak = np.float32(1.0 / max(float(np.abs(ringing).max()), 1e-12))
    return convolve(train.astype(np.float32), ringing * peak)


def at_angles(
    angles: NDArray[np.float64], turned: NDArray[np.float64], time_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """When a never-falling angle `turned` (on `time_s`) passes each of `angles`."""
    moving = np.concatenate([[True], np.diff(turned) > 0.0])
    passed: NDArray[np.float64] = np.interp(angles, turned[moving], time_s[moving])
    return passed


def travelled(rate_hz: NDArray[np.float64], grid_hz: float) -> NDArray[np.float64]:
    """Turns travelled in whichever sense, from 0, on the grid of `rate_hz`."""
    steps = 0.5 * (np.abs(rate_hz[1:]) + np.abs(rate_hz[:-1])) / grid_hz
    return np.concatenate([[0.0], np.cumsum(steps)])
