"""Samples that are no numbers: replaced, counted and remarked."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Gap, Remark

# Runs up to this long are bridged by a straight line: at half a period of 50 Hz the bridge still
# resembles what stood there.  Longer ones become silence and a gap.
BRIDGED_S = 0.010
# Full scale is 1; a float file may exceed it, but not by this much.  Squares stay finite too.
ABSURD_SAMPLE = 1e6


class Repairs:
    """Mends blocks of shape (frames, channels) in the order of time and remembers what it did."""

    def __init__(self, *, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._frames = 0
        self._replaced = 0
        self._gaps: list[tuple[int, int]] = []

    def mend(self, block: NDArray[np.float32]) -> NDArray[np.float32]:
        """The block with every non-finite or absurd sample replaced."""
        first = self._frames
        self._frames += len(block)
        # One pass: a sum over finite, sane samples is finite, and the extremes tell the rest.
        if len(block) == 0 or np.abs(block).max() <= ABSURD_SAMPLE:
            return block
        bad = ~(np.abs(block) <= ABSURD_SAMPLE)
        self._replaced += int(bad.sum())
        mended = np.where(bad, np.float32(0), block)
        for start, end in runs(np.asarray(bad.any(axis=1))):
            if end - start > BRIDGED_S * self._rate_hz:
                self._gaps.append((first + start, first + end))
            else:
                _bridge(mended, bad, start, end)
        return mended

    def remarks(self) -> tuple[Remark, ...]:
        """What was replaced, if anything."""
        if not self._replaced:
            return ()
        return (
            Remark(
                what=f"Samples that were no finite numbers and were replaced: {self._replaced}.",
                consequence="Short runs are bridged; longer ones are silent and are listed as "
                "gaps, where nothing is concluded.",
            ),
        )

    def gaps(self, start_s: float = 0.0) -> tuple[Gap, ...]:
        """Stretches too long to bridge, adjoining ones joined."""
        joined: list[tuple[int, int]] = []
        for first, last in self._gaps:
            if joined and joined[-1][1] == first:
                joined[-1] = (joined[-1][0], last)
            else:
                joined.append((first, last))
        return tuple(
            Gap(
                start_s=start_s + first / self._rate_hz,
                end_s=start_s + last / self._rate_hz,
                reason="samples that are no finite numbers",
            )
            for first, last in joined
        )


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open (start, end) of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _bridge(mended: NDArray[np.float32], bad: NDArray[np.bool_], start: int, end: int) -> None:
    low, high = max(0, start - 1), min(len(mended), end + 1)
    index = np.arange(low, high)
    for channel in range(mended.shape[1]):
        good = ~bad[low:high, channel]
        if good.any():
            line = np.interp(index, index[good], mended[low:high, channel][good])
            mended[low:high, channel] = line
