"""When a burst of motion truly begins and ends, finer than the half seconds that cut the phases.

At a flank the level leaves that of the pause: in the pause it keeps to a line (a recorder's gain
creeps up in silence), in the motion it swings about a mean.  The flank is the likeliest moment of
change between two such stretches of normal band levels (Page 1955; Chen and Gupta 2000).
A threshold halfway up would lose the slow beginning and end, in which the drum is heard little.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spinlab.phases.value import Phase
from spinlab.vibration.loudness import Loudness

STEP_S = 0.05
REACH_S = 6.0  # to either side of the rough edge
LEAST_S = 0.6  # of pause and of motion
# A drum rocks to its rest, too slowly to be heard: so long on the mean after the last sound of
# simulated bursts, tuning seeds.
ROCKING_S = 0.1
LEAST_SCATTER_DB = 0.5  # no band level of so few frames is steadier


def sharpened(phases: list[Phase], sound: Loudness) -> list[Phase]:
    """The phases, with the bursts of wash motion from flank to flank where a pause is beside them.

    The pause takes what the burst gives up, and gives what it takes.
    """
    level, time = _levels(sound)
    out = list(phases)
    for k, phase in enumerate(phases):
        if phase.label != "wash motion" or phase.corrected:
            continue
        if k and phases[k - 1].label == "quiet":
            begin = _rise(level, time, phases[k - 1].start_s, phase)
            out[k - 1] = replace(out[k - 1], end_s=begin)
            out[k] = replace(out[k], start_s=begin)
        if k + 1 < len(phases) and phases[k + 1].label == "quiet":
            stop = _fall(level, time, phases[k + 1].end_s, phase)
            out[k] = replace(out[k], end_s=stop)
            out[k + 1] = replace(out[k + 1], start_s=stop)
    return out


def _levels(sound: Loudness) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Median band levels (b, n), dB, and times of `STEP_S`; a click does not count in a median."""
    size = max(1, round(STEP_S * sound.rate_hz))
    count = sound.power.shape[1] // size
    blocks = sound.power[:, : count * size].reshape(len(sound.power), count, size)
    times = sound.time_s[: count * size].reshape(count, size).mean(axis=1)
    return 10.0 * np.log10(np.median(blocks, axis=2).astype(np.float64)), times


def _rise(
    level: NDArray[np.float64], time: NDArray[np.float64], pause_start_s: float, burst: Phase
) -> float:
    """Where the pause before a burst ends; the first half of a pause belongs to the last burst."""
    low = max(0.5 * (pause_start_s + burst.start_s), burst.start_s - REACH_S)
    high = min(0.5 * (burst.start_s + burst.end_s), burst.start_s + REACH_S)
    inside = np.flatnonzero((time > low) & (time < high))
    cut = _change(level[:, inside])
    return burst.start_s if cut is None else float(time[inside[0]] + (cut - 0.5) * STEP_S)


def _fall(
    level: NDArray[np.float64], time: NDArray[np.float64], pause_end_s: float, burst: Phase
) -> float:
    """Where the pause after a burst begins, looked for as a rise backwards in time."""
    low = max(0.5 * (burst.start_s + burst.end_s), burst.end_s - REACH_S)
    high = min(0.5 * (pause_end_s + burst.end_s), burst.end_s + REACH_S)
    inside = np.flatnonzero((time > low) & (time < high))
    cut = _change(level[:, inside[::-1]])
    if cut is None:
        return burst.end_s
    return float(time[inside[-1]] - (cut - 0.5) * STEP_S) + ROCKING_S


def _change(level: NDArray[np.float64]) -> int | None:
    """Frame at which a pause most likely gives way to motion; None where too little is there."""
    count, least = level.shape[1], round(LEAST_S / STEP_S)
    if count < 2 * least + 1:
        return None
    cuts = range(least, count - least)
    cost = [_cost(level[:, :cut], slope=True) + _cost(level[:, cut:], slope=False) for cut in cuts]
    return cuts[int(np.argmin(cost))]


def _cost(level: NDArray[np.float64], *, slope: bool) -> float:
    """Minus the log likelihood of normal levels about their mean, or about a line, bands summed."""
    x = level - level.mean(axis=1, keepdims=True)
    count = x.shape[1]
    if slope:
        t = np.arange(count) - 0.5 * (count - 1)
        x = x - np.outer(x @ t / (t @ t), t)
    variance = np.maximum(np.mean(x**2, axis=1), LEAST_SCATTER_DB**2)
    return float(0.5 * count * np.sum(np.log(variance)))
