"""Acquisition: from maps to a course of whatever moves, on the coarse grid.

Two starting points, drum orders with beats and any line with its double, are each refined by
learning their family of lines; the one whose family explains more is kept.  Neither needs to know
which order it follows: the scale is decided afterwards, on finer evidence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats, LogGrid, family_evidence, line_evidence
from spinlab.speed.family import Family, family_map, learn, rebased
from spinlab.speed.maps import Maps
from spinlab.speed.path import Path, best_path
from spinlab.speed.relink import relinked
from spinlab.speed.standing import standing_cells, without_standing

DRUM_ORDERS = np.arange(1.0, 13.0)
BEAT_ORDERS = np.array([1.0, 2.0, 3.0])
SEED_ORDERS = np.array([0.5, 1.0, 2.0, 3.0])
LOWEST_DRUM_COMB_HZ = 2.2
LOWEST_BEAT_HZ = 3.0
LOWEST_SEED_HZ = 16.0
# Of the drum's orders a phone hears few, and which ones differs: an absent one says little.
DRUM_ABSENT = -0.08
ROUNDS = 4


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """What all readings share: line evidence, beats, drum orders, agreement on the chirp rate.

    `stands` marks the cells (frames, cells) that were set aside because a tone stands there.
    """

    lines: Floats
    beat: Floats
    drum: Floats
    agreement: Floats
    count: int
    first_order_felt: bool
    stands: NDArray[np.bool_] | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Acquired:
    """A path of whatever moves, its family and score; `from_drum` if it began as the drum."""

    path: Path
    family: Family
    score: float
    from_drum: bool


# A sensor on the cabinet feels the first order above all; its next orders only support it.
FELT_ORDERS = np.array([1.0, 2.0, 3.0])
FELT_WEIGHTS = np.array([1.0, 0.2, 0.2])


def gather(maps: Maps, *, highest_hz: float, first_order_felt: bool = False) -> Evidence:
    """Evidence maps on the grid of drum rates up to `highest_hz`.

    Args:
        maps: the recording's maps.
        highest_hz: the fastest drum rate.
        first_order_felt: the recording is of a sensor that feels the drum's first order.
    """
    lines = line_evidence(maps.tones.copy()) * maps.weight
    return _gathered(lines, maps.modulation, maps, highest_hz, first_order_felt)


def moving(evidence: Evidence, maps: Maps, *, highest_hz: float) -> Evidence:
    """The same evidence without what stands still, for finding out what moves."""
    stands = standing_cells(evidence.lines, maps.alphas, maps.grid, hop_s=maps.hop_s)
    lines = without_standing(evidence.lines, stands, maps.alphas)
    beating = standing_cells(maps.modulation, maps.alphas, maps.grid, hop_s=maps.hop_s)
    modulation = without_standing(maps.modulation, beating, maps.alphas)
    return _gathered(lines, modulation, maps, highest_hz, False, stands)


def _gathered(
    lines: Floats,
    modulation: Floats,
    maps: Maps,
    highest_hz: float,
    first_order_felt: bool,
    stands: NDArray[np.bool_] | None = None,
) -> Evidence:
    count = maps.grid.cell_of(highest_hz) + 1
    lowest_base_hz = maps.lowest_tone_hz if first_order_felt else LOWEST_DRUM_COMB_HZ
    drum = family_evidence(
        np.maximum(lines, np.float32(DRUM_ABSENT)),
        maps.grid,
        FELT_ORDERS if first_order_felt else DRUM_ORDERS,
        weights=FELT_WEIGHTS if first_order_felt else None,
        count=count,
        lowest_hz=maps.lowest_tone_hz,
        lowest_base_hz=lowest_base_hz,
    )
    beat = family_evidence(
        modulation,
        LogGrid(first_hz=maps.grid.first_hz, step=maps.grid.step, count=maps.modulation.shape[-1]),
        BEAT_ORDERS,
        count=count,
        lowest_hz=LOWEST_BEAT_HZ,
        lowest_base_hz=LOWEST_BEAT_HZ,
    )
    centre(beat, maps.grid.cell_of(LOWEST_BEAT_HZ))
    centre(drum, maps.grid.cell_of(lowest_base_hz))
    return Evidence(
        lines=lines,
        beat=beat,
        drum=drum,
        agreement=_agreement(lines, maps),
        count=count,
        first_order_felt=first_order_felt,
        stands=stands,
    )


# A speed must beat this share of all speeds in its frame to be worth hearing at all: a path that
# may pick the best of thousands of states in noise must not gain by it.
COMMON_SHARE = 0.93


def centre(values: Floats, first: int) -> Floats:
    """Evidence relative to what chance offers in the same frame, in place.

    Below `first` nothing can be told; absent lines cost evidence where they could be heard, so
    without this speeds too slow to be told would win by default.
    """
    if values.shape[-1] > first:
        some = values[:, ::2, first::3].reshape(len(values), -1)
        common = np.quantile(some, COMMON_SHARE, axis=1).astype(np.float32)
        values[..., first:] -= common[:, None, None]
        values[..., :first] -= np.maximum(common, 0.0)[:, None, None]
    return values


# The sharpest spectrum over all chirp rates tells how fast everything moves, whatever its order.
# Its vote is a quarter of the line evidence it rests on, and bounded, for those lines vote again.
AGREEMENT_WEIGHT = 0.25
AGREEMENT_LIMIT = 4.0
# Whole drum orders count again beside a learned family that may hold some of them already.
DRUM_SHARE = 0.3


def _agreement(lines: Floats, maps: Maps) -> Floats:
    """Penalty of each chirp rate against the sharpest one, shape (frames, alphas, 1)."""
    low = maps.grid.cell_of(LOWEST_SEED_HZ)
    sharpness = np.maximum(lines[..., low:] - 1.0, 0).sum(axis=-1)
    sharpness -= sharpness.max(axis=1, keepdims=True)
    return np.maximum(AGREEMENT_WEIGHT * sharpness, -AGREEMENT_LIMIT)[:, :, None]


def _follow(values: Floats, maps: Maps) -> Path:
    return best_path(values, maps.alphas, step=maps.grid.step, hop_s=maps.hop_s)


def _learned(
    path: Path, evidence: Evidence, seen: Evidence, maps: Maps, *, count: int
) -> tuple[Path, Family]:
    """Learn the family of a path from what moves, and track it in everything that is heard.

    Until the score no longer rises.
    """
    lowest = maps.grid.cell_of(maps.lowest_tone_hz)
    family = learn(path, maps, seen.stands)
    best: tuple[Path, Family] | None = None
    least = 0.0
    for _ in range(ROUNDS):
        if not len(family.offsets):
            break
        if count != evidence.count:
            path, family = rebased(path, family)
        values = family_map(family, evidence.lines, maps.grid, count=count, lowest=lowest)
        centre(values, min(lowest, count // 4))
        if count == evidence.count:
            values += evidence.beat
        path = _follow(values + evidence.agreement, maps)
        joined = relinked(path, values, family, maps)
        moved = bool((joined.cell[joined.cell >= 0] != path.cell[joined.cell >= 0]).any())
        path = joined
        if best and not moved and path.score <= least:
            break
        best = (path, family)
        # the score of a path that had to be moved is not its own
        least = 0.0 if moved else path.score * 1.005
        family = learn(path, maps, seen.stands)
    return best or (path, family)


# Cells about a known course that stay open to a path, and the nats per frame that leaving it costs.
KNOWN_REACH = 4
KNOWN_NATS = np.float32(8.0)


def track_drum(
    family: Family,
    evidence: Evidence,
    maps: Maps,
    known: tuple[NDArray[np.int64], NDArray[np.int64]] | None = None,
) -> Path:
    """The drum's path, once the orders of its family are known.

    Args:
        family: offsets from the drum's own rate.
        evidence: from `gather`.
        maps: the recording's maps.
        known: frames in which the drum's cell is known already, and that cell.
    """
    if evidence.first_order_felt:
        return _follow(evidence.drum + evidence.agreement, maps)
    lowest = maps.grid.cell_of(maps.lowest_tone_hz)
    values = evidence.beat + np.float32(DRUM_SHARE) * evidence.drum
    if len(family.offsets):
        lines = family_map(family, evidence.lines, maps.grid, count=evidence.count, lowest=lowest)
        values += centre(lines, 0)
    for frame, cell in zip(*known, strict=True) if known else ():
        values[frame, :, : max(0, cell - KNOWN_REACH)] -= KNOWN_NATS
        values[frame, :, cell + KNOWN_REACH + 1 :] -= KNOWN_NATS
    return relinked(_follow(values + evidence.agreement, maps), values, family, maps)


def acquire(evidence: Evidence, maps: Maps, *, highest_hz: float) -> tuple[Acquired, ...]:
    """Paths of whatever moves, best first; empty if nothing does.

    Args:
        evidence: from `gather`.
        maps: the recording's maps.
        highest_hz: the fastest drum rate.
    """
    if evidence.first_order_felt:
        path = _follow(evidence.drum + evidence.beat + evidence.agreement, maps)
        if not (path.cell >= 0).any():
            return ()
        family = learn(path, maps)
        return (Acquired(path=path, family=family, score=path.score, from_drum=True),)
    seen = moving(evidence, maps, highest_hz=highest_hz)
    found = _from_seeds(seen, evidence, seen, maps)
    if max((a.score for a in found), default=0.0) < ENOUGH:
        # short ramps of faint lines need their plateaus to be found at all
        found += _from_seeds(evidence, evidence, seen, maps)
    return tuple(sorted(found, key=lambda a: -a.score))


# A path found from what moves alone that explains less than this is not relied on.
ENOUGH = 150.0


def _from_seeds(seed: Evidence, evidence: Evidence, seen: Evidence, maps: Maps) -> list[Acquired]:
    """Paths that start as the drum with its beats, and as any line with its double."""
    found = []
    start = _follow(seed.drum + seed.beat + seed.agreement, maps)
    if (start.cell >= 0).any():
        path, family = _learned(start, evidence, seen, maps, count=evidence.count)
        found.append(Acquired(path=path, family=family, score=path.score, from_drum=True))
    low = maps.grid.cell_of(LOWEST_SEED_HZ)
    values = family_evidence(
        seed.lines, maps.grid, SEED_ORDERS, count=maps.grid.count, lowest_hz=LOWEST_SEED_HZ
    )
    centre(values, low)
    values[..., :low] = -2.0
    line = _follow(values + seed.agreement, maps)
    if (line.cell >= 0).any():
        path, family = _learned(line, evidence, seen, maps, count=maps.grid.count)
        if len(family.offsets):
            found.append(Acquired(path=path, family=family, score=path.score, from_drum=False))
    return found
