"""Runs: the unbroken stretches of a path, which of them go on from one another, what moves."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.frames import HOP_S
from spinlab.speed.refine import Refined

# A drum's rate changes by less than this share between frames.
LARGEST_LEAP = 0.2
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


def moves(refined: Refined, run: NDArray[np.int64], *, least_spread: float = LEAST_SPREAD) -> bool:
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


# Runs this close (s) go on from one another if the speed does, and twice as far ones in which two
# lines or more are heard; so do such runs farther apart, where each foretells the other; and a run
# that never moves and that its own lines mostly carry goes on from a shown one that it follows
# closely.
SHORT_GAP_S = 0.95
LONG_GAP_S = 8.0
LINES_TO_TELL = 2
CLOSE_GAP_S = 3.0
RUN_SLACK = 0.04
LINKING_RATE = 0.25


# Frames from which the slope at the end of a run is taken, how much steeper than at either end the
# speed may go on between two runs (ln per s), and the change of ln(speed) that may be foretold.
SLOPE_FRAMES = 5
SLOPE_MARGIN = 0.1
FARTHEST_FORESEEN = 0.15


def end_lines(
    time_s: NDArray[np.float64],
    log_hz: NDArray[np.float64],
    before: NDArray[np.int64],
    after: NDArray[np.int64],
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """(slope, value half-way between) of the lines in which two runs end and begin.

    In ln per s and in what `log_hz` counts in; None where a run is too short for a line.
    """
    if min(len(before), len(after)) < SLOPE_FRAMES:
        return None
    middle_s = 0.5 * float(time_s[before[-1]] + time_s[after[0]])
    last, first = (
        np.polyfit(time_s[k] - middle_s, log_hz[k], 1)
        for k in (before[-SLOPE_FRAMES:], after[:SLOPE_FRAMES])
    )
    return (float(last[0]), float(last[1])), (float(first[0]), float(first[1]))


def between(
    refined: Refined, before: NDArray[np.int64], after: NDArray[np.int64]
) -> tuple[float, bool]:
    """Seconds between two runs, and whether the speed goes on from one to the other."""
    gap_s = float(refined.time_s[after[0]] - refined.time_s[before[-1]])
    change = float(refined.log_hz[after[0]] - refined.log_hz[before[-1]])
    goes_on = abs(change) <= RUN_SLACK + LINKING_RATE * gap_s
    lines = end_lines(refined.time_s, refined.log_hz, before, after) if goes_on else None
    if lines is not None:
        # a drum that gains speed before and after has not lost any in between
        slopes = [slope for slope, _ in lines]
        slack = RUN_SLACK + SLOPE_MARGIN * gap_s
        goes_on = min(slopes) * gap_s - slack <= change <= max(slopes) * gap_s + slack
    return gap_s, goes_on


def _foreseen(refined: Refined, before: NDArray[np.int64], after: NDArray[np.int64]) -> bool:
    """Whether two runs meet half-way if each goes on as it ends or begins."""
    lines = end_lines(refined.time_s, refined.log_hz, before, after)
    if lines is None:
        return False
    half_s = 0.5 * float(refined.time_s[after[0]] - refined.time_s[before[-1]])
    if max(abs(slope) for slope, _ in lines) * half_s > FARTHEST_FORESEEN:
        return False
    return abs(lines[0][1] - lines[1][1]) <= RUN_SLACK


def linked(refined: Refined, run: NDArray[np.int64]) -> NDArray[np.int64]:
    """Runs renumbered so that those which go on from one another share a number."""
    parts = [np.flatnonzero(run == n) for n in np.unique(run)]
    parts = [p for p in parts if refined.carried[p].all()]
    out = run.copy()
    for before, after in itertools.pairwise(parts):
        gap_s, goes_on = between(refined, before, after)
        told = min(np.median(refined.heard[before]), np.median(refined.heard[after]))
        by_two = bool(told >= LINES_TO_TELL)
        near = goes_on and gap_s <= SHORT_GAP_S * (2 if by_two else 1)
        if near or (by_two and gap_s <= LONG_GAP_S and _foreseen(refined, before, after)):
            out[after] = out[before[0]]
    return out


def longest_moving(
    refined: Refined, run: NDArray[np.int64], share: NDArray[Any]
) -> NDArray[np.bool_]:
    """Frames of the run that holds most of a share of each frame, of those that change speed.

    Args:
        refined: the course and its lines.
        run: shape (frames,), runs that go on from one another share a number.
        share: shape (frames,), what counts.

    Returns:
        shape (frames,), no frame where nothing changes speed.
    """
    held = {
        int(number): float(share[run == number].sum())
        for number in np.unique(run)
        if np.ptp(refined.log_hz[run == number]) > LEAST_SPREAD
    }
    if not held:
        return np.zeros(len(run), bool)
    longest: NDArray[np.bool_] = run == max(held, key=lambda number: held[number])
    return longest


# Nats of the drum's own turns that prove a path whose ramps are not heard.
PROVEN_NATS = 18.0


def proven_apart(refined: Refined, standout_nats: float) -> bool:
    """Whether one scale fits the drum's turns at levels apart: tones that stand share none.

    Args:
        refined: the course and its lines.
        standout_nats: by how much the drum's own turns fit that scale better than any other.
    """
    levels = refined.log_hz[refined.carried]
    apart = len(levels) > LEAST_RUN_FRAMES and float(np.ptp(levels)) > LEAST_SPREAD
    return apart and standout_nats > PROVEN_NATS
