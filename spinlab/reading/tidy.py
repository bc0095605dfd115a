"""Rows put in order: unreadable ones out, repeats out, strays out, out-of-order ones sorted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Remark

# A step back by more than this is a clock set anew, not a late line.
_CLOCK_SET_S = 1.0
# A pause longer than this is not filled: what follows is another recording.
LONGEST_FILLED_S = 300.0
# A stamp further than this from those of its neighbours is a broken number.
_STRAY_S = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Tidied:
    """Rising stamps (n,), their rows (channels, n), and what was done to get there."""

    stamps_s: NDArray[np.float64]
    values: NDArray[np.float64]
    duplicates: int
    backward_steps: int
    remarks: tuple[Remark, ...]


def tidy(stamps_s: NDArray[np.float64], values: NDArray[np.float64]) -> Tidied:
    """Bring rows into the order of time; nothing is interpolated here."""
    readable = np.isfinite(stamps_s) & np.isfinite(values).all(axis=0)
    readable &= _near_neighbours(stamps_s, readable)
    stamps, values = stamps_s[readable], values[:, readable]
    backward = int(np.sum(np.diff(stamps) < 0))
    stamps, jumps = _join_set_clock(stamps)
    order = np.argsort(stamps, kind="stable")
    stamps, values = stamps[order], values[:, order]
    repeat = np.zeros(len(stamps), dtype=bool)
    repeat[1:] = (np.diff(stamps) == 0) & (np.diff(values, axis=1) == 0).all(axis=0)
    return Tidied(
        stamps_s=stamps[~repeat],
        values=values[:, ~repeat],
        duplicates=int(np.sum(np.diff(stamps) == 0)),
        backward_steps=backward,
        remarks=_remarks(int(np.sum(~readable)), jumps, backward - jumps, int(repeat.sum())),
    )


def _remarks(dropped: int, jumps: int, late: int, repeats: int) -> tuple[Remark, ...]:
    found = []
    if dropped:
        found.append(
            Remark(
                what=f"Rows with no number, or a time far from their neighbours': {dropped}.",
                consequence="They are left out; the gaps that this leaves are bridged or listed.",
            )
        )
    if jumps:
        found.append(
            Remark(
                what=f"Times that the log's clock was set back by over a second: {jumps}.",
                consequence="The parts are joined end to start: times after the first jump are "
                "not the log's own, and how long the pause was is unknown.",
            )
        )
    if late or repeats:
        found.append(
            Remark(
                what=f"Rows out of order: {late}; repeated rows: {repeats}.",
                consequence="They were sorted and taken once; nothing is lost.",
            )
        )
    return tuple(found)


def longest_part(
    stamps_s: NDArray[np.float64], values: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], tuple[Remark, ...]]:
    """The longest part between pauses that are too long to be filled."""
    breaks = np.flatnonzero(np.diff(stamps_s) > LONGEST_FILLED_S) + 1
    if not len(breaks):
        return stamps_s, values, ()
    edges = np.concatenate([[0], breaks, [len(stamps_s)]])
    k = int(np.argmax(np.diff(edges)))
    part = slice(int(edges[k]), int(edges[k + 1]))
    remark = Remark(
        what=f"The log has a pause of {np.diff(stamps_s).max():.0f} s.",
        consequence=f"Only its longest part is analysed, from {stamps_s[part][0]:.1f} s to "
        f"{stamps_s[part][-1]:.1f} s of its clock: cut the log there for the others.",
    )
    return stamps_s[part], values[:, part], (remark,)


def _near_neighbours(stamps_s: NDArray[np.float64], usable: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """False for single stamps far from both sides, while both sides agree with each other."""
    from scipy.ndimage import median_filter

    keep = np.ones(len(stamps_s), dtype=bool)
    where = np.flatnonzero(usable)
    if len(where) < 5:
        return keep
    stamps = stamps_s[where]
    middle = median_filter(stamps, size=5, mode="nearest")
    keep[where] = np.abs(stamps - middle) <= _STRAY_S + 3 * float(
        np.median(np.abs(np.diff(stamps)))
    )
    return keep


def _join_set_clock(stamps_s: NDArray[np.float64]) -> tuple[NDArray[np.float64], int]:
    """Stamps with every large step back replaced by one ordinary step."""
    steps = np.diff(stamps_s)
    jumps = np.flatnonzero(steps < -_CLOCK_SET_S)
    if not len(jumps):
        return stamps_s, 0
    usual = float(np.median(steps[steps > 0]))
    shift = np.zeros(len(stamps_s))
    for k in jumps:
        shift[k + 1 :] += usual - steps[k]
    return stamps_s + shift, len(jumps)
