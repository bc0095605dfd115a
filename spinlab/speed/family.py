"""Families: which orders a track's lines have, learned from the recording itself.

On a log-frequency axis everything locked to the drum moves by the same shift.  So a path, even one
that follows an unknown order, gathers the lines of the whole family at fixed offsets from itself.
Learning those offsets and tracking again with them (expectation-maximisation in spirit) needs no
prior link of a line to an order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats, LogGrid
from spinlab.speed.maps import Maps
from spinlab.speed.path import Path

# A family keeps at most this many lines: the strongest; more would only add noise and time.
MOST_LINES = 14
# Least share of frames in which a line stands to count as one, and how many frames it needs.
LEAST_SHARE = 0.15
LEAST_FRAMES = 12
OWN_REACH = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Family:
    """Lines at fixed offsets (grid cells) from a path, with the share of frames each stands in."""

    offsets: NDArray[np.int64]
    shares: NDArray[np.float64]


def profile(
    path: Path, maps: Maps, stands: NDArray[np.bool_] | None = None
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Share of frames with a line at each offset from the path.

    Args:
        path: the path.
        maps: the recording's maps.
        stands: cells that say nothing because a tone stands there, shape (frames, cells).

    Returns:
        offsets in cells, share of frames with a line there, number of frames in band.
    """
    heard = np.flatnonzero(path.cell >= 0)
    rows, cells = maps.lines[heard, path.alpha[heard]], path.cell[heard]
    there = rows > maps.present
    grid = maps.grid
    lowest = grid.cell_of(maps.lowest_tone_hz)
    reach = np.arange(-grid.count + 1, grid.count)
    hits = np.zeros(len(reach))
    seen = np.zeros(len(reach))
    told = np.ones(rows.shape, bool) if stands is None else ~stands[heard]
    for row, tell, cell in zip(there, told, cells, strict=True):
        first = lowest - cell + grid.count - 1
        span = slice(first, first + grid.count - lowest)
        hits[span] += row[lowest:] & tell[lowest:]
        seen[span] += tell[lowest:]
    share = np.where(seen >= LEAST_FRAMES, hits / np.maximum(seen, 1), 0.0)
    return reach, share, seen


def learn(path: Path, maps: Maps, stands: NDArray[np.bool_] | None = None) -> Family:
    """The family of lines that keep their offset from a path; `stands` as in `profile`."""
    from scipy.signal import find_peaks

    offsets, share, seen = profile(path, maps, stands)
    usual = np.median(share[seen >= LEAST_FRAMES]) if (seen >= LEAST_FRAMES).any() else 0.0
    spread = np.sqrt(np.maximum(share, 0.02) / np.maximum(seen, 1))
    clear = np.where(share > usual + 4 * spread, share, 0.0)
    peaks, _ = find_peaks(np.pad(clear, 1), height=max(LEAST_SHARE, 2 * usual), distance=3)
    peaks = peaks - 1
    # the line that the path itself follows stands on plateaus, and is known all the same
    own = _own_share(path, maps)
    if own > LEAST_SHARE and not (np.abs(offsets[peaks]) < OWN_REACH).any():
        middle = len(offsets) // 2
        peaks = np.append(peaks, middle)
        share[middle], seen[middle] = own, (path.cell >= 0).sum()
    strength = share[peaks] * np.sqrt(seen[peaks])
    keep = np.sort(peaks[np.argsort(-strength)[:MOST_LINES]])
    return Family(offsets=offsets[keep], shares=np.clip(share[keep], 0.02, 0.97))


def rebased(path: Path, family: Family) -> tuple[Path, Family]:
    """The same path and family, told by the family's lowest line.

    A path that follows a high line leaves the band while lower lines still tell the speed.
    """
    lowest = int(family.offsets.min())
    if lowest >= 0:
        return path, family
    cell = np.where(path.cell >= 0, np.maximum(path.cell + lowest, 0), -1)
    return (
        Path(cell=cell, alpha=path.alpha, score=path.score),
        Family(offsets=family.offsets - lowest, shares=family.shares),
    )


# Highest order that is surely the drum's own: with a belt the motor turns eight times as fast.
HIGHEST_OWN = 7
OWN_SLACK = 5


def of_drum(family: Family, step: float) -> Family:
    """A family learned along the drum itself: its lowest lines are whole orders, once each.

    Args:
        family: offsets and shares.
        step: width of a cell in ln(frequency).
    """
    whole = np.round(np.log(np.arange(1, HIGHEST_OWN + 1)) / step).astype(np.int64)
    nearest = whole[np.argmin(np.abs(family.offsets[:, None] - whole), axis=1)]
    near = np.abs(family.offsets - nearest) <= OWN_SLACK
    offsets = np.where(near, nearest, family.offsets)
    shares = {int(o): 0.0 for o in offsets}
    for offset, share in zip(offsets, family.shares, strict=True):
        shares[int(offset)] = max(shares[int(offset)], float(share))
    kept = np.array(sorted(shares), np.int64)
    return Family(offsets=kept, shares=np.array([shares[int(o)] for o in kept]))


def _own_share(path: Path, maps: Maps) -> float:
    """Share of the path's frames in which a line stands on the path itself."""
    heard = np.flatnonzero(path.cell >= 0)
    audible = heard[path.cell[heard] >= maps.grid.cell_of(maps.lowest_tone_hz)]
    if len(audible) < LEAST_FRAMES:
        return 0.0
    cell = path.cell[audible]
    return float((maps.lines[audible, path.alpha[audible], cell] > maps.present[cell]).mean())


def family_map(family: Family, lines: Floats, grid: LogGrid, *, count: int, lowest: int) -> Floats:
    """Evidence of a learned family for each base cell, shape (frames, alphas, count).

    Args:
        family: offsets and shares.
        lines: line evidence on `grid`, shape (frames, alphas, cells).
        grid: the grid.
        count: number of base cells.
        lowest: first cell of `lines` that can be heard.
    """
    frames, alphas, cells = lines.shape
    out, begun = np.zeros((frames, alphas, count), np.float32), False
    spare = np.empty_like(out)
    for offset, share in zip(family.offsets, family.shares, strict=True):
        first, last = max(0, lowest - offset, -offset), min(count, cells - offset)
        if last > first:
            # a line that stands in most frames is missed where it is missing, and trusted more
            weight, heard = np.float32(0.5 + share), lines[..., first + offset : last + offset]
            if begun:
                out[..., first:last] += np.multiply(weight, heard, out=spare[..., : last - first])
            else:
                np.multiply(weight, heard, out=out[..., first:last])
                begun = True
    return out
