"""Voices: what is heard of lines, of the drum's whole orders and of its beats, block by block."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats, family_evidence
from spinlab.speed.frames import CACHED_FRAMES, FEW_FRAMES, blocks, single
from spinlab.speed.maps import Maps
from spinlab.speed.standing import standing_cells, without_standing

DRUM_ORDERS = np.arange(1.0, 13.0)
BEAT_ORDERS = np.array([1.0, 2.0, 3.0])
# Without these a third of the drum's rate, whose third order is the drum's first, does as well.
BEAT_WEIGHTS = np.array([1.0, 0.6, 0.5])
SEED_ORDERS = np.array([0.5, 1.0, 2.0, 3.0])
LOWEST_DRUM_COMB_HZ = 2.2
LOWEST_BEAT_HZ = 3.0
LOWEST_SEED_HZ = 16.0
# Evidence, in nats, of a line where none is looked for.
NO_LINE = -2.0
# Of the drum's orders a phone hears few, and which ones differs: an absent one says little.
DRUM_ABSENT = -0.08


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
        agreed: `agreement` of all frames, shape (frames, alphas, 1).
        kept_lines, kept_beats: what `lines` and `beat` give for all frames, made once where there
            are few.
    """

    maps: Maps
    count: int
    first_order_felt: bool
    stands: NDArray[np.bool_] | None = None
    beats_stand: NDArray[np.bool_] | None = None
    agreed: Floats | None = None
    kept_lines: Floats | None = None
    kept_beats: Floats | None = None

    def lines(self, block: slice) -> Floats:
        """Evidence of lines, shape (frames, alphas, cells), not to be written to."""
        if self.kept_lines is not None:
            return self.kept_lines[block]
        lines = single(self.maps.lines[block])
        if self.stands is None:
            return lines
        return without_standing(lines.copy(), self.stands[block], self.maps.alphas)

    def votes(self, block: slice) -> Floats:
        """`agreement` of the lines, shape (frames, alphas, 1)."""
        if self.agreed is not None:
            return self.agreed[block]
        return agreement(self.lines(block), self.maps)

    def drum(self, lines: Floats) -> Floats:
        """Evidence of the drum's whole orders, shape (frames, alphas, count)."""
        maps, felt = self.maps, self.first_order_felt
        lowest_base_hz = maps.lowest_tone_hz if felt else LOWEST_DRUM_COMB_HZ
        drum = family_evidence(
            # np.clip is several times as fast as np.maximum with a single number
            np.clip(lines, np.float32(DRUM_ABSENT), np.float32(np.inf)),
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
        if self.kept_beats is not None:
            return self.kept_beats[block]
        maps = self.maps
        modulation = single(maps.modulation[block])
        if self.beats_stand is not None:
            modulation = without_standing(modulation.copy(), self.beats_stand[block], maps.alphas)
        beat = family_evidence(
            modulation,
            replace(maps.grid, count=modulation.shape[-1]),
            BEAT_ORDERS,
            weights=BEAT_WEIGHTS,
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
        values[..., :low] = NO_LINE
        return values


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
    count = min(maps.grid.cell_of(highest_hz) + 1, maps.grid.count)
    return _prepared(Evidence(maps=maps, count=count, first_order_felt=first_order_felt))


def _prepared(evidence: Evidence) -> Evidence:
    """The evidence with what every path asks for."""
    maps = evidence.maps
    frames = len(maps.time_s)
    if frames <= FEW_FRAMES:
        beats = [evidence.beat(block) for block in blocks(frames, CACHED_FRAMES)]
        evidence = replace(
            evidence,
            kept_lines=evidence.lines(slice(0, frames)),
            kept_beats=np.concatenate(beats),
        )
    agreed = [evidence.votes(block) for block in blocks(frames, CACHED_FRAMES)]
    return replace(evidence, agreed=np.concatenate(agreed))


def remembered(values: Values, frames: int) -> Values:
    """The same values, made only once where there are few frames."""
    if frames > FEW_FRAMES:
        return values
    made: dict[int, Floats] = {}

    def once(block: slice) -> Floats:
        if block.start not in made:
            made[block.start] = values(block)
        return made[block.start]

    return once


def moving(evidence: Evidence) -> Evidence:
    """The same evidence without what stands still, for finding out what moves."""
    maps = evidence.maps
    set_aside = replace(
        evidence,
        agreed=None,
        kept_lines=None,
        kept_beats=None,
        stands=standing_cells(maps.lines, maps.alphas, maps.grid, hop_s=maps.hop_s),
        beats_stand=standing_cells(maps.modulation, maps.alphas, maps.grid, hop_s=maps.hop_s),
    )
    return _prepared(set_aside)


# A speed must beat this share of all speeds in its frame to be worth hearing at all: a path that
# may pick the best of thousands of states in noise must not gain by it.
COMMON_SHARE = 0.93


def centre(values: Floats, first: int) -> Floats:
    """Evidence relative to what chance offers in the same frame, in place.

    Below `first` nothing can be told; absent lines cost evidence where they could be heard, so
    without this speeds too slow to be told would win by default.
    """
    return lessened(values, first, chance(values, first))


def chance(values: Floats, first: int) -> Floats:
    """What chance offers from cell `first` on, shape (frames,)."""
    some = values[:, ::2, first::3].reshape(len(values), -1)
    last = some.shape[1] - 1
    if last < 0:
        return np.zeros(len(values), np.float32)
    # what np.quantile returns, in a fifth of its time over arrays as small as these
    place = COMMON_SHARE * last
    below, above = int(place), min(int(place) + 1, last)
    ordered = np.partition(some, (below, above), axis=1)
    low, high, part = ordered[:, below], ordered[:, above], place - below
    common: Floats = low + (high - low) * part if part < 0.5 else high - (high - low) * (1 - part)
    return common


def lessened(values: Floats, first: int, common: Floats) -> Floats:
    """Values less what chance offers in each frame, in place."""
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
    sharpness = np.clip(lines[..., low:] - 1.0, 0.0, np.float32(np.inf)).sum(axis=-1)
    sharpness -= sharpness.max(axis=1, keepdims=True)
    return np.maximum(AGREEMENT_WEIGHT * sharpness, -AGREEMENT_LIMIT)[:, :, None]
