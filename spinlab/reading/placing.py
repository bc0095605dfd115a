"""Blocks of decoded sound put where their stamps say: holes filled, overlaps cut, drift noticed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Gap, Remark

# Stamps of some containers are whole milliseconds, and browsers stamp by the wall clock: what
# stays within this is scatter.  A lost packet leaves at least its 20 ms.
SCATTER_S = 0.015
# A hole longer than this is a clock set anew, not lost sound; it is not filled.
LONGEST_FILLED_S = 300.0
# Holes may outlast the sound heard so far by no more than this.
FILLED_BEYOND_HEARD_S = 30.0
# Nor is sound that claims to lie further back than this an overlap.
LONGEST_OVERLAP_S = 1.0
# A true hole or overlap starts with one leap; wander that grows slowly is drift, not a hole.
_DRIFT_PPM_REMARKED = 300.0


class Placer:
    """Puts blocks of shape (n, channels) on the player's clock, in the order of decoding."""

    def __init__(self, *, rate_hz: float, origin_s: float) -> None:
        self._rate_hz = rate_hz
        self._origin_s = origin_s
        self._frames = 0
        self._expected_s: float | None = None
        self._first_s: float | None = None
        self._error_s = 0.0
        self._filled = 0
        self._joined = 0
        self._gaps: list[Gap] = []

    @property
    def start_s(self) -> float:
        """Time of the first kept sample."""
        return self._first_s or 0.0

    def place(self, block: NDArray[np.float32], stamp_s: float | None) -> list[NDArray[np.float32]]:
        """The arrays to append for one block whose first sample is stamped `stamp_s`."""
        time = None if stamp_s is None else stamp_s - self._origin_s
        if self._first_s is None:
            time = 0.0 if time is None else time
            # Sound before the clock's zero is there for the decoder, not for the ear.
            early = min(len(block), max(0, round(-time * self._rate_hz)))
            block, time = block[early:], time + early / self._rate_hz
            if not len(block):
                return []
            self._first_s = max(0.0, time)
        elif time is not None and self._expected_s is not None:
            return self._fit(block, time)
        return self._keep([], block, time)

    def gaps(self) -> tuple[Gap, ...]:
        """Holes that were filled with silence."""
        return tuple(self._gaps)

    def remarks(self) -> tuple[Remark, ...]:
        """What the stamps told apart from holes."""
        found: list[Remark] = []
        if self._joined:
            found.append(
                Remark(
                    what=f"Leaps of the file's clock: {self._joined}.",
                    consequence="The parts are joined end to start: later times are not the "
                    "player's.",
                )
            )
        length_s = self._frames / self._rate_hz
        if length_s > 10 and abs(self._error_s) > _DRIFT_PPM_REMARKED * 1e-6 * length_s + SCATTER_S:
            found.append(
                Remark(
                    what=f"Sound and file clock drift apart by {self._error_s:+.3f} s.",
                    consequence="Speeds follow the sound's clock; "
                    f"they may be off by {abs(self._error_s) / length_s:.2%}.",
                )
            )
        return tuple(found)

    def _fit(self, block: NDArray[np.float32], time: float) -> list[NDArray[np.float32]]:
        """Fill or cut where the stamp leaps from where the last block ended."""
        leap = time - (self._expected_s or 0.0)
        if abs(leap) <= SCATTER_S:
            return self._keep([], block, time)
        # Measured from the start, so that scatter gathered before is made good as well.
        behind = time - self.start_s - self._frames / self._rate_hz
        missing = round(behind * self._rate_hz)
        if leap > self._fillable_s() or leap < -LONGEST_OVERLAP_S:
            self._joined += 1
            self._origin_s += behind
            return self._keep([], block, time - behind)
        if missing <= 0:
            fresh = block[-missing:]
            return self._keep([], fresh, time + (len(block) - len(fresh)) / self._rate_hz)
        end = self.start_s + (self._frames + missing) / self._rate_hz
        start = end - missing / self._rate_hz
        self._gaps.append(Gap(start_s=start, end_s=end, reason="sound is missing"))
        hole = np.zeros((missing, block.shape[1]), dtype=np.float32)
        self._filled += missing
        return self._keep([hole], block, time)

    def _fillable_s(self) -> float:
        """The longest hole to fill now: broken stamps must not make hours out of nothing."""
        heard_s = (self._frames - 2 * self._filled) / self._rate_hz
        return min(LONGEST_FILLED_S, FILLED_BEYOND_HEARD_S + heard_s)

    def _keep(
        self,
        before: list[NDArray[np.float32]],
        block: NDArray[np.float32],
        time: float | None,
    ) -> list[NDArray[np.float32]]:
        if not len(block):
            return before
        kept = [*before, block]
        self._frames += sum(map(len, before))
        if time is not None:
            self._error_s = time - self.start_s - self._frames / self._rate_hz
            self._expected_s = time + len(block) / self._rate_hz
        elif self._expected_s is not None:
            self._expected_s += len(block) / self._rate_hz
        self._frames += len(block)
        return kept
