"""Pieces: each plateau of a path must be proved where another line would carry it as well.

A ramp tells a line from another by where it leads.  A plateau does not: if one line of the family
is heard alone, or if the family looks the same at another speed, the path may stand on the wrong
one.  Then the drum's own evidence in that very piece decides, unless the path goes on unbroken
from a proved piece to this one and on to another.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.maps import Maps
from spinlab.speed.refine import Refined
from spinlab.speed.shown import FASTER, Own, nats

# A piece of a path stands while this many frames stay within this width of ln(speed).
STILL_FRAMES = 10
STILL_WIDTH = 0.02
# Nats of the drum's own evidence that a standing piece needs, and that it needs if its lines are
# carried at another speed by more than this share of the evidence at its own.
LEAST_OWN = 0.5
LEAST_OWN_DOUBTED = 8.0
ALIKE = 0.9
# The same where a programme is known and asks for no such speed: shares by which a drum usually
# stays below an asked one, and exceeds it.
LEAST_OWN_UNASKED = 25.0
USUALLY_BELOW = 0.1
USUALLY_ABOVE = 0.03
# What stands at the same level this close (s) to a doubted piece goes with it.
WITH_IT_S = 4.0
# Strongest lines that are compared, and the other speeds that count: from one another in ln, rpm.
MOST_LINES = 8
LEAST_STRENGTH = 0.5
LEAST_APART = 0.03
FARTHEST = 1.2
DRUM_RPM = (100.0, 1800.0)
# What an absent line costs.
ABSENT = -0.3


def proved(
    refined: Refined,
    run: NDArray[np.int64],
    own: Own,
    maps: Maps,
    factor: float,
    programme_rpm: tuple[float, ...] = (),
    *,
    turned: Own | None = None,
) -> NDArray[np.bool_]:
    """Frames that stand in no doubted piece, shape (frames,).

    Args:
        refined: the course and its lines.
        run: number of the unbroken run of each frame.
        own: the drum's own evidence in each frame.
        maps: the recording's maps.
        factor: drum rate over course rate.
        programme_rpm: the plateaus that a profile expects.
        turned: `own` with the lines of a motor that sits on the drum, where one does; a level that
            a programme does not ask for is not proved by those.
    """
    kept, frames = np.ones(len(run), bool), np.arange(len(run))
    pieces = still_pieces(refined.log_hz, run)
    both = own, turned or own
    sure = [_proved(refined, piece, both, maps, factor, programme_rpm) for piece in pieces]
    for k in _before_slower(refined, pieces):
        sure[k] &= nats(own.part(pieces[k])) >= LEAST_OWN_UNASKED
    for k, piece in enumerate(pieces):
        same = [j for j, other in enumerate(pieces) if run[other[0]] == run[piece[0]] and sure[j]]
        if sure[k] or (any(j < k for j in same) and any(j > k for j in same)):
            continue
        kept &= ~_beside(refined, piece)
        if same:
            # nor is the way from there to what is proved
            early = k < same[0]
            way = frames < pieces[same[0]][0] if early else frames > pieces[same[-1]][-1]
            kept &= ~(way & (run == run[piece[0]]))
    return kept


def _proved(
    refined: Refined,
    piece: NDArray[np.int64],
    owns: tuple[Own, Own],
    maps: Maps,
    factor: float,
    programme_rpm: tuple[float, ...],
) -> bool:
    level_rpm = 60.0 * factor * float(np.exp(np.median(refined.log_hz[piece])))
    over = level_rpm / np.array(programme_rpm) - 1.0
    if len(over) and not ((over > -USUALLY_BELOW) & (over < USUALLY_ABOVE)).any():
        return nats(owns[0].part(piece)) >= LEAST_OWN_UNASKED
    doubted = alike_elsewhere(refined, piece, maps, factor) > ALIKE
    return nats(owns[1].part(piece)) >= (LEAST_OWN_DOUBTED if doubted else LEAST_OWN)


def _before_slower(refined: Refined, pieces: tuple[NDArray[np.int64], ...]) -> list[int]:
    """Pieces before one that stands slower: a line that falls may be a sideband of the carrier.

    A test steps upwards (common practice, no published source).
    """
    level = [float(np.median(refined.log_hz[piece])) for piece in pieces]
    slowest_after = np.minimum.accumulate([*level, np.inf][::-1])[::-1][1:]
    return [k for k in range(len(pieces)) if level[k] > slowest_after[k] + np.log(FASTER)]


def _beside(refined: Refined, piece: NDArray[np.int64]) -> NDArray[np.bool_]:
    """A piece and what stands at its level just before and after it, shape (frames,)."""
    first_s, last_s = refined.time_s[piece[[0, -1]]]
    near = (refined.time_s > first_s - WITH_IT_S) & (refined.time_s < last_s + WITH_IT_S)
    level = float(np.median(refined.log_hz[piece]))
    beside: NDArray[np.bool_] = near & (np.abs(refined.log_hz - level) < STILL_WIDTH)
    return beside


def still_pieces(
    log_hz: NDArray[np.float64], run: NDArray[np.int64]
) -> tuple[NDArray[np.int64], ...]:
    """Frames of each piece of a run in which the speed stands."""
    found: list[NDArray[np.int64]] = []
    for number in np.unique(run):
        frames = np.flatnonzero(run == number)
        still = np.zeros(len(frames), bool)
        for first in range(len(frames) - STILL_FRAMES + 1):
            if np.ptp(log_hz[frames[first : first + STILL_FRAMES]]) < STILL_WIDTH:
                still[first : first + STILL_FRAMES] = True
        edges = np.flatnonzero(np.diff(still.astype(int), prepend=0, append=0)).reshape(-1, 2)
        found += [frames[first:last] for first, last in edges]
    return tuple(found)


def alike_elsewhere(refined: Refined, piece: NDArray[np.int64], maps: Maps, factor: float) -> float:
    """Largest evidence of the family at another speed, over that at the piece's own."""
    strongest = np.argsort(-refined.strength)[:MOST_LINES]
    lines = np.log(refined.orders[strongest][refined.strength[strongest] > LEAST_STRENGTH])
    here = _evidence(refined, piece, maps, lines)
    if here <= 0.0:
        return np.inf
    shifts = np.unique(np.round(lines[:, None] - lines[None, :], 3))
    rpm = 60.0 * factor * np.exp(np.median(refined.log_hz[piece]) + shifts)
    other = (np.abs(shifts) > LEAST_APART) & (np.abs(shifts) < FARTHEST)
    other &= (rpm > DRUM_RPM[0]) & (rpm < DRUM_RPM[1])
    there = [_evidence(refined, piece, maps, lines + shift) for shift in shifts[other]]
    return max(there, default=0.0) / here


def _evidence(
    refined: Refined, piece: NDArray[np.int64], maps: Maps, lines: NDArray[np.float64]
) -> float:
    """Mean evidence per frame of lines (ln of their orders) where the speed stands."""
    frames = np.searchsorted(maps.time_s, refined.time_s[piece] - 1e-6)
    zero, highest = len(maps.alphas) // 2, maps.lines.shape[2] - 2
    total = 0.0
    for line in lines:
        place = (refined.log_hz[piece] + line - np.log(maps.grid.first_hz)) / maps.grid.step
        cell = np.round(place).astype(np.int64)
        inside = (cell >= 1) & (cell <= highest)
        near = np.clip(cell, 1, highest)
        value = np.max([maps.lines[frames, zero, near + k] for k in (-1, 0, 1)], axis=0)
        total += float(np.mean(np.where(inside, np.maximum(value.astype(float), ABSENT), 0.0)))
    return total
