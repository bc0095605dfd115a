"""Family voice: the evidence of one learned family, for the search and once more along its path.

The search asks for every chirp rate of a few frames at a time, and nothing of that is put by: for
a whole recording it would be as large as the map of lines, and writing it would take longer than
making it.  What is wanted afterwards, the evidence at the chirp rates of the path, is made again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats
from spinlab.speed.family import Family, family_map
from spinlab.speed.frames import blocks
from spinlab.speed.path import Path
from spinlab.speed.voices import Evidence, chance, lessened


@dataclass(frozen=True, kw_only=True, eq=False)
class FamilyVoice:
    """Evidence of a family at each base cell.

    Attributes:
        family: its lines.
        evidence: what is heard.
        count: number of base cells.
        beats: whether the base is the drum, whose beats count.
        common: what chance offers in each frame that was asked for, shape (frames,).
    """

    family: Family
    evidence: Evidence
    count: int
    beats: bool
    common: Floats

    @staticmethod
    def of(family: Family, evidence: Evidence, *, as_drum: bool) -> FamilyVoice:
        """The voice on the grid of drum rates, with beats, or on the whole grid without."""
        maps = evidence.maps
        return FamilyVoice(
            family=family,
            evidence=evidence,
            count=evidence.count if as_drum else maps.grid.count,
            beats=as_drum,
            common=np.zeros(len(maps.time_s), np.float32),
        )

    def __call__(self, block: slice) -> Floats:
        """Evidence of a block of frames, shape (frames, alphas, count)."""
        out = self._summed(self.evidence.lines(block))
        self.common[block] = chance(out, self._first())
        lessened(out, self._first(), self.common[block])
        if self.beats:
            out += self.evidence.beat(block)
        return out

    def along(self, path: Path) -> Floats:
        """The same at a path's chirp rates, once all frames were asked for, (frames, count)."""
        parts = []
        for block in blocks(len(path.alpha)):
            alpha = path.alpha[block]
            out = self._summed(at_alpha(self.evidence.lines(block), alpha))
            lessened(out, self._first(), self.common[block])
            if self.beats:
                out += at_alpha(self.evidence.beat(block), alpha)
            parts.append(out[:, 0])
        return np.concatenate(parts)

    def _summed(self, lines: Floats) -> Floats:
        """Evidence of all lines, shape (frames, alphas, count)."""
        grid, lowest = self.evidence.maps.grid, self._lowest()
        return family_map(self.family, lines, grid, count=self.count, lowest=lowest)

    def _lowest(self) -> int:
        """First cell at which a tone is looked for."""
        maps = self.evidence.maps
        return maps.grid.cell_of(maps.lowest_tone_hz)

    def _first(self) -> int:
        """First cell of what chance is taken from."""
        return min(self._lowest(), self.count // 4)


def at_alpha(values: Floats, alpha: NDArray[np.int64]) -> Floats:
    """Values (frames, alphas, cells) at one chirp rate per frame, shape (frames, 1, cells)."""
    return values[np.arange(len(values)), alpha][:, None]
