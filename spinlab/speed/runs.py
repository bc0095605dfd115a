"""Runs: which stretches of a path go on from one another, and which of them may be shown."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.drumlock import LOCK_HOP_S
from spinlab.speed.frames import HOP_S
from spinlab.speed.refine import Refined
from spinlab.speed.scale import Candidate

# A drum's rate changes by less than this share between frames, and a run of frames needs this many
# nats of the drum's own evidence to be shown.
LARGEST_LEAP = 0.2
LEAST_RUN_SUPPORT = 6.0
LEAST_STILL_SUPPORT = 25.0
# No drum of this kind changes faster (common practice, no published source).
FASTEST_RPM_PER_S = 250.0
FASTEST_FALL_RPM_PER_S = 120.0
# What never changes speed cannot be told from a pump or a fan.
LEAST_SPREAD = 0.2
LEAST_RUN_FRAMES = 6
# Nats of the drum's own evidence per window that carry a frame, and the frames of their mean.
LEAST_OWN = 1.5
CARRYING_FRAMES = 3
# Width of a level in ln(speed), and the share of levels passed that must be heard.
LEVEL_WIDTH = 0.1
LEAST_COVERED = 0.6


def run_numbers(
    time_s: NDArray[np.float64],
    log_hz: NDArray[np.float64],
    carried_on: NDArray[np.bool_] | None = None,
    *,
    leap: float = LARGEST_LEAP,
) -> NDArray[np.int64]:
    """Number of the unbroken run that each frame belongs to.

    A leap, a gap, or the beginning or end of a stretch that nothing carries breaks a run.
    """
    broken = (np.diff(time_s) > 1.5 * HOP_S) | (np.abs(np.diff(log_hz)) > leap)
    if carried_on is not None:
        broken |= np.diff(carried_on.astype(int)) != 0
    return np.concatenate([[0], np.cumsum(broken)])


def carried(refined: Refined, support: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Frames in which the family's lines, or the drum's own evidence, carry the path.

    Where neither is heard the path is a guess between what it knows, and it must not be shown.
    """
    from scipy.ndimage import uniform_filter1d

    if not (refined.gain > 0).any():
        return np.ones(len(support), bool)
    own = uniform_filter1d(support, CARRYING_FRAMES, mode="nearest") > LEAST_OWN
    either: NDArray[np.bool_] = refined.carried | own
    return either


def moves(refined: Refined, run: NDArray[np.int64]) -> bool:
    """Whether any unbroken run changes speed: what does not may be a pump or a fan.

    A path that leaps from one standing tone to another passes over the speeds between without
    evidence; a drum is heard on the way.
    """
    heard = refined.carried if (refined.gain > 0).any() else np.ones(len(run), bool)
    for number in np.unique(run):
        inside = refined.log_hz[(run == number) & heard]
        if len(inside) < LEAST_RUN_FRAMES or np.ptp(inside) < LEAST_SPREAD:
            continue
        steps = np.floor((inside - inside.min()) / LEVEL_WIDTH).astype(int)
        if len(np.unique(steps)) >= LEAST_COVERED * (steps.max() + 1):
            return True
    return False


# Runs this close (s) go on from one another if the speed does; so do runs farther apart in which
# two lines or more are heard, for two lines tell an order from another; and a run that never moves
# and that its own lines mostly carry, if it follows a shown one this closely.
SHORT_GAP_S = 0.95
LONG_GAP_S = 8.0
LINES_TO_TELL = 2
CLOSE_GAP_S = 3.0
MOSTLY = 0.8
RUN_SLACK = 0.04
LINKING_RATE = 0.25


def _between(
    refined: Refined, before: NDArray[np.int64], after: NDArray[np.int64]
) -> tuple[float, bool]:
    """Seconds between two runs, and whether the speed goes on from one to the other."""
    gap_s = float(refined.time_s[after[0]] - refined.time_s[before[-1]])
    change = abs(float(refined.log_hz[after[0]] - refined.log_hz[before[-1]]))
    return gap_s, change <= RUN_SLACK + LINKING_RATE * gap_s


def linked(refined: Refined, run: NDArray[np.int64]) -> NDArray[np.int64]:
    """Runs renumbered so that those which go on from one another share a number."""
    parts = [np.flatnonzero(run == n) for n in np.unique(run)]
    parts = [p for p in parts if refined.carried[p].all()]
    out = run.copy()
    for before, after in itertools.pairwise(parts):
        gap_s, goes_on = _between(refined, before, after)
        told = min(np.median(refined.heard[before]), np.median(refined.heard[after]))
        near = gap_s <= SHORT_GAP_S or (gap_s <= LONG_GAP_S and told >= LINES_TO_TELL)
        if near and goes_on:
            out[after] = out[before[0]]
    return out


# Nats of the drum's own turns that prove a path whose ramps are not heard.
PROVEN_NATS = 20.0


def proven_apart(refined: Refined, scale: Candidate) -> bool:
    """Whether one scale fits the drum's turns at levels apart: tones that stand share none."""
    levels = refined.log_hz[refined.carried]
    apart = len(levels) > LEAST_RUN_FRAMES and float(np.ptp(levels)) > LEAST_SPREAD
    return apart and scale.measured_standout > PROVEN_NATS


def supported(
    refined: Refined,
    run: NDArray[np.int64],
    support: NDArray[np.float64],
    beating: NDArray[np.float64],
    factor: float,
) -> NDArray[np.bool_]:
    """Frames in unbroken runs that the drum's own evidence supports.

    A path may leave the drum for a foreign line; it can do so only by a break.  A run between
    breaks is shown if beats or drum orders support it, more so if it never moves, and if the drum
    could have got there from the better supported run beside it.  A run that never moves needs
    beats, for hum stands at whole multiples too, unless it goes on from a run that moves.
    """
    weight, waiting = {}, {}
    for number in np.unique(run):
        inside = run == number
        still = np.ptp(refined.log_hz[inside]) < LEAST_SPREAD / 4
        total = _nats(beating if still else support, inside)
        if total > (LEAST_STILL_SUPPORT if still else LEAST_RUN_SUPPORT):
            weight[int(number)] = total
        elif still and refined.carried[inside].mean() > MOSTLY:
            waiting[int(number)] = _nats(support, inside)
    for number, total in waiting.items():
        beside = any(_goes_on(refined, run, number, other) for other in weight)
        if total > LEAST_STILL_SUPPORT and beside:
            weight[number] = total
    speed = 60.0 * factor * np.exp(refined.log_hz)
    for number in sorted(weight, key=lambda n: weight[n]):
        for other in (n for n in list(weight) if weight[n] > weight[number]):
            if _unreachable(refined.time_s, speed, run, number, other):
                del weight[number]
                break
    return np.isin(run, list(weight))


def _nats(evidence: NDArray[np.float64], inside: NDArray[np.bool_]) -> float:
    """Evidence of a run: frames are denser than the windows that it was counted in."""
    return float(np.maximum(evidence[inside], 0).sum()) * HOP_S / LOCK_HOP_S


def _goes_on(refined: Refined, run: NDArray[np.int64], one: int, other: int) -> bool:
    """Whether two runs follow each other closely and a drum gets from one to the other."""
    before, after = (np.flatnonzero(run == n) for n in sorted((one, other)))
    gap_s, goes_on = _between(refined, before, after)
    return gap_s <= CLOSE_GAP_S and goes_on


def _unreachable(
    time_s: NDArray[np.float64],
    speed_rpm: NDArray[np.float64],
    run: NDArray[np.int64],
    one: int,
    other: int,
) -> bool:
    """Whether the drum could not have changed between two runs in the time between them."""
    first, last = (
        np.flatnonzero(run == min(one, other))[-1],
        np.flatnonzero(run == max(one, other))[0],
    )
    pause = float(time_s[last] - time_s[first])
    change = float(speed_rpm[last] - speed_rpm[first])
    return not -FASTEST_FALL_RPM_PER_S * pause <= change <= FASTEST_RPM_PER_S * pause
