"""Cutting a recording where its character changes.

First active and quiet are told apart by the level; then every active stretch is split where its
band levels change, by binary segmentation with a penalty that grows with the logarithm of its
length (Scott and Knott 1974; Schwarz 1978).
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from spinlab.phases.features import FRAME_S, Features

SHORTEST_S = 2.0
# Below this a household accelerometer at rest reads its own noise (measured on an open log with
# the machine off: 0.008 m/s2 over three axes); sound has no such absolute level.
LOG_QUIET_M_S2 = 0.02
CLEAR_DB = 5.0  # active stands at least so far above quiet
# A recorder's automatic gain turns a quiet room up within seconds: what is quiet may stand so far
# above the quietest, and what is active halfway from there to what is loud within so long, at most
# so much above it.
GAIN_DB = 6.0
GAIN_S = 15.0
CLEAREST_DB = 10.0
# What is switched on is louder at once.  A gain that creeps up in silence rises by less than this
# in half a second, and raises all bands alike: their levels over their mean stay within this (RMS).
CREEP_DB = 3.0
CREEP_COLOUR_DB = 1.5
CREEP_REACH_S = 2.0


def active_frames(features: Features, kind: str) -> NDArray[np.bool_]:
    """Frames in which something runs, short holes and blips removed."""
    level = 20.0 * np.log10(np.maximum(features.level, 1e-8))
    if len(level) == 0:
        return np.zeros(0, dtype=bool)
    floor = float(np.quantile(level, 0.05))
    threshold = np.full(len(level), floor + CLEAR_DB)
    if kind == "acceleration":
        threshold[:] = max(floor + CLEAR_DB, 20.0 * np.log10(LOG_QUIET_M_S2))
        # A log that never rests has no quiet to compare with: what is strong is active.
        if floor > 20.0 * np.log10(3.0 * LOG_QUIET_M_S2):
            threshold[:] = 20.0 * np.log10(3.0 * LOG_QUIET_M_S2)
    elif float(np.quantile(level, 0.95)) - floor < CLEAR_DB:
        return np.ones(len(level), dtype=bool)
    else:
        threshold = _halfway(level, floor)
    active = _without_short(level > threshold, round(1.0 / FRAME_S))
    return _without_creep(features, level, active) if kind == "sound" else active


def _without_creep(
    features: Features, level: NDArray[np.float64], active: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Silence that only a recorder's gain made loud is silence, up to the first jump."""
    out, reach = active.copy(), round(CREEP_REACH_S / FRAME_S)
    colour = features.band_db - features.band_db.mean(axis=0)
    for first, last in runs(active):
        if first < reach:
            continue
        jumps = np.flatnonzero(np.diff(level[first - 1 : last]) > CREEP_DB)
        stop = first + int(jumps[0]) if len(jumps) else last
        if stop == first:
            continue
        before = np.median(colour[:, first - reach : first], axis=1)
        apart = np.median(colour[:, first:stop], axis=1) - before
        if float(np.sqrt(np.mean(apart**2))) < CREEP_COLOUR_DB:
            out[first:stop] = False
    return out


def _halfway(level: NDArray[np.float64], floor: float) -> NDArray[np.float64]:
    """Level between quiet and loud around each frame, dB."""
    from scipy.ndimage import percentile_filter

    reach = 2 * round(GAIN_S / FRAME_S) + 1
    low = percentile_filter(level, 10, size=reach, mode="nearest")
    high = percentile_filter(level, 80, size=reach, mode="nearest")
    quiet = np.clip(low, floor, floor + GAIN_DB)
    return np.asarray(quiet + np.clip(0.5 * (high - quiet), CLEAR_DB, CLEAREST_DB))


def _without_short(active: NDArray[np.bool_], least: int) -> NDArray[np.bool_]:
    """Runs shorter than `least` frames take the value of what is around them."""
    out = active.copy()
    for value in (False, True):
        for first, last in runs(out == value):
            if last - first < least and first > 0 and last < len(out):
                out[first:last] = not value
    return out


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and past-the-end index of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def split(features: Features, first: int, last: int) -> list[tuple[int, int]]:
    """Cut frames [first, last) where the band levels change."""
    x = features.band_db[:, first:last]
    if x.shape[1] < 2 * round(SHORTEST_S / FRAME_S):
        return [(first, last)]
    # In units of the usual change from frame to frame: what is normal scatter here.
    scale = 1.4826 * np.median(np.abs(np.diff(x, axis=1)), axis=1) / np.sqrt(2.0)
    x = x / np.maximum(scale, 0.7)[:, None]
    cuts = sorted(_cuts(x, 0, x.shape[1]))
    edges = [0, *cuts, x.shape[1]]
    return [(first + a, first + b) for a, b in itertools.pairwise(edges)]


def _cuts(x: NDArray[np.float64], first: int, last: int) -> list[int]:
    """Binary segmentation of the mean, recursively."""
    least = round(SHORTEST_S / FRAME_S)
    count = last - first
    if count < 2 * least:
        return []
    part = x[:, first:last]
    total = np.cumsum(part, axis=1)
    n = np.arange(1, count)
    left = total[:, :-1] / n
    right = (total[:, -1:] - total[:, :-1]) / (count - n)
    # Frames are correlated over about three; the penalty is for that many fewer.
    gain = np.sum((left - right) ** 2, axis=0) * n * (count - n) / count / 3.0
    gain[: least - 1] = 0.0
    gain[count - least :] = 0.0
    best = int(np.argmax(gain))
    bands = len(x)
    step = np.abs(left[:, best] - right[:, best]).max()
    if gain[best] < 4.0 * (bands + 2) * np.log(count) or step < 3.0:
        return []
    cut = first + best + 1
    return [*_cuts(x, first, cut), cut, *_cuts(x, cut, last)]
