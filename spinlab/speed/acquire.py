"""Acquisition: from maps to a course of whatever moves, on the coarse grid.

Two starting points, drum orders with beats and any line with its double, are each refined by
learning their family of lines; the one whose family explains more is kept.  Neither needs to know
which order it follows: the scale is decided afterwards, on finer evidence.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats, family_evidence
from spinlab.speed.family import Family, family_map, learn, rebased
from spinlab.speed.maps import Maps, blocks
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


Values = Callable[[slice], Floats]


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """What is heard, or what of it moves: evidence is made from the maps block by block.

    Attributes:
        maps: the recording's maps.
        count: cells of the grid up to the fastest drum rate.
        first_order_felt: the recording is of a sensor that feels the drum's first order.
        stands, beats_stand: cells (frames, cells) that say nothing because a tone, or a beat,
            stands there; None where everything counts.
    """

    maps: Maps
    count: int
    first_order_felt: bool
    stands: NDArray[np.bool_] | None = None
    beats_stand: NDArray[np.bool_] | None = None

    def lines(self, block: slice) -> Floats:
        """Evidence of lines, shape (frames, alphas, cells)."""
        lines = self.maps.lines[block].astype(np.float32)
        if self.stands is not None:
            without_standing(lines, self.stands[block], self.maps.alphas)
        return lines

    def drum(self, lines: Floats) -> Floats:
        """Evidence of the drum's whole orders, shape (frames, alphas, count)."""
        maps, felt = self.maps, self.first_order_felt
        lowest_base_hz = maps.lowest_tone_hz if felt else LOWEST_DRUM_COMB_HZ
        drum = family_evidence(
            np.maximum(lines, np.float32(DRUM_ABSENT)),
            maps.grid,
            FELT_ORDERS if felt else DRUM_ORDERS,
            weights=FELT_WEIGHTS if felt else None,
            count=self.count,
            lowest_hz=maps.lowest_tone_hz,
            lowest_base_hz=lowest_base_hz,
        )
        return centre(drum, maps.grid.cell_of(lowest_base_hz))

    def beat(self, block: slice) -> Floats:
        """Evidence of beats at the drum's first orders, shape (frames, alphas, count)."""
        maps = self.maps
        modulation = maps.modulation[block].astype(np.float32)
        if self.beats_stand is not None:
            without_standing(modulation, self.beats_stand[block], maps.alphas)
        beat = family_evidence(
            modulation,
            replace(maps.grid, count=modulation.shape[-1]),
            BEAT_ORDERS,
            count=self.count,
            lowest_hz=LOWEST_BEAT_HZ,
            lowest_base_hz=LOWEST_BEAT_HZ,
        )
        return centre(beat, maps.grid.cell_of(LOWEST_BEAT_HZ))

    def as_drum(self, block: slice) -> Floats:
        """Evidence of a drum with its beats and whole orders."""
        lines = self.lines(block)
        return self.drum(lines) + self.beat(block)

    def as_line(self, block: slice) -> Floats:
        """Evidence of any line with its half, its double and its triple."""
        lines, grid = self.lines(block), self.maps.grid
        low = grid.cell_of(LOWEST_SEED_HZ)
        values = family_evidence(
            lines, grid, SEED_ORDERS, count=grid.count, lowest_hz=LOWEST_SEED_HZ
        )
        centre(values, low)
        values[..., :low] = -2.0
        return values


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
    """Evidence on the grid of drum rates up to `highest_hz`.

    Args:
        maps: the recording's maps.
        highest_hz: the fastest drum rate.
        first_order_felt: the recording is of a sensor that feels the drum's first order.
    """
    count = maps.grid.cell_of(highest_hz) + 1
    return Evidence(maps=maps, count=count, first_order_felt=first_order_felt)


def moving(evidence: Evidence) -> Evidence:
    """The same evidence without what stands still, for finding out what moves."""
    maps = evidence.maps
    return replace(
        evidence,
        stands=standing_cells(maps.lines, maps.alphas, maps.grid, hop_s=maps.hop_s),
        beats_stand=standing_cells(maps.modulation, maps.alphas, maps.grid, hop_s=maps.hop_s),
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


def agreement(lines: Floats, maps: Maps) -> Floats:
    """Penalty of each chirp rate against the sharpest one, shape (frames, alphas, 1)."""
    low = maps.grid.cell_of(LOWEST_SEED_HZ)
    sharpness = np.maximum(lines[..., low:] - 1.0, 0).sum(axis=-1)
    sharpness -= sharpness.max(axis=1, keepdims=True)
    return np.maximum(AGREEMENT_WEIGHT * sharpness, -AGREEMENT_LIMIT)[:, :, None]


def _follow(values: Values, evidence: Evidence) -> Path:
    """The best path through values, under the agreement of all lines on the chirp rate."""
    maps = evidence.maps
    parts = (
        values(block) + agreement(evidence.lines(block), maps) for block in blocks(len(maps.time_s))
    )
    return best_path(parts, maps.alphas, step=maps.grid.step, hop_s=maps.hop_s)


def _along(path: Path, values: Values, maps: Maps) -> Floats:
    """Evidence at the path's chirp rates, shape (frames, cells)."""
    return np.concatenate(
        [
            (part := values(block))[np.arange(len(part)), path.alpha[block]]
            for block in blocks(len(maps.time_s))
        ]
    )


def _learned(
    path: Path, evidence: Evidence, seen: Evidence, *, as_drum: bool
) -> tuple[Path, Family]:
    """Learn the family of a path from what moves, and track it in everything that is heard.

    Until the score no longer rises.
    """
    maps = evidence.maps
    count = evidence.count if as_drum else maps.grid.count
    lowest = maps.grid.cell_of(maps.lowest_tone_hz)
    family = learn(path, maps, seen.stands)
    best: tuple[Path, Family] | None = None
    least = 0.0
    for _ in range(ROUNDS):
        if not len(family.offsets):
            break
        if not as_drum:
            path, family = rebased(path, family)

        def values(block: slice, family: Family = family) -> Floats:
            lines = evidence.lines(block)
            out = family_map(family, lines, maps.grid, count=count, lowest=lowest)
            centre(out, min(lowest, count // 4))
            if as_drum:
                out += evidence.beat(block)
            return out

        path = _follow(values, evidence)
        joined = relinked(path, _along(path, values, maps), family, maps)
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
    known: tuple[NDArray[np.int64], NDArray[np.int64]],
) -> Path:
    """The drum's path, once the orders of its family are known.

    Args:
        family: offsets from the drum's own rate.
        evidence: from `gather`.
        known: frames in which the drum's cell is known already, and that cell.
    """
    maps = evidence.maps
    if evidence.first_order_felt:
        return _follow(evidence.as_drum, evidence)
    lowest = maps.grid.cell_of(maps.lowest_tone_hz)

    def values(block: slice) -> Floats:
        lines = evidence.lines(block)
        out = evidence.beat(block) + np.float32(DRUM_SHARE) * evidence.drum(lines)
        if len(family.offsets):
            out += centre(
                family_map(family, lines, maps.grid, count=evidence.count, lowest=lowest), 0
            )
        inside = (known[0] >= block.start) & (known[0] < block.stop)
        for frame, cell in zip(known[0][inside] - block.start, known[1][inside], strict=True):
            out[frame, :, : max(0, cell - KNOWN_REACH)] -= KNOWN_NATS
            out[frame, :, cell + KNOWN_REACH + 1 :] -= KNOWN_NATS
        return out

    path = _follow(values, evidence)
    return relinked(path, _along(path, values, maps), family, maps)


def acquire(evidence: Evidence) -> tuple[Acquired, ...]:
    """Paths of whatever moves, best first; empty if nothing does.

    Args:
        evidence: from `gather`.
    """
    if evidence.first_order_felt:
        path = _follow(evidence.as_drum, evidence)
        if not (path.cell >= 0).any():
            return ()
        family = learn(path, evidence.maps)
        return (Acquired(path=path, family=family, score=path.score, from_drum=True),)
    seen = moving(evidence)
    found = _from_seeds(seen, evidence, seen)
    if max((a.score for a in found), default=0.0) < ENOUGH:
        # short ramps of faint lines need their plateaus to be found at all
        found += _from_seeds(evidence, evidence, seen)
    return tuple(sorted(found, key=lambda a: -a.score))


# A path found from what moves alone that explains less than this is not relied on.
ENOUGH = 150.0


def _from_seeds(seed: Evidence, evidence: Evidence, seen: Evidence) -> list[Acquired]:
    """Paths that start as the drum with its beats, and as any line with its double."""
    found = []
    start = _follow(seed.as_drum, seed)
    if (start.cell >= 0).any():
        path, family = _learned(start, evidence, seen, as_drum=True)
        found.append(Acquired(path=path, family=family, score=path.score, from_drum=True))
    line = _follow(seed.as_line, seed)
    if (line.cell >= 0).any():
        path, family = _learned(line, evidence, seen, as_drum=False)
        if len(family.offsets):
            found.append(Acquired(path=path, family=family, score=path.score, from_drum=False))
    return found
