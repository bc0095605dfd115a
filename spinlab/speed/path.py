"""The best path through (chirp rate, speed) over time.

A state is a cell of the log-speed grid and a chirp rate.  The chirp rate says where the next frame
must lie, so the physics of a heavy drum is in the transition itself; only changes of the chirp
rate cost anything.  Each speed has one more state, "not heard", with evidence zero and a price to
enter and to leave; unheard, the speed drifts no faster than a drum can change, so what is heard
again must be within reach of what was heard before.  The search is Viterbi's (Forney 1973, Proc.
IEEE 61:268-278), banded; a dense transition matrix over the same 40 000 states would not fit in
memory.

Where each state came from is not written down for all states of all frames: values are kept in
short, and the way back asks only the few states that could have led to the one it stands on.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Row = NDArray[np.float32]

# Nats for each cell of the alpha grid changed per frame, and for a sudden change to any alpha.
ALPHA_COST = 1.5
ALPHA_JUMP_COST = 6.0
# Nats to begin or end being heard: about the log of the number of states one can begin in.
SILENCE_COST = 9.0
# Nats for landing one cell beside where the chirp rate points.
SLACK_COST = 1.0
# Nats per frame for each 1/s that a chirp rate exceeds what a drum reaches once it spins: lines
# that change faster are followed where they are heard, but none is bridged at that rate.
USUAL_RATE = 0.25
FAST_COST = 25.0
# Fastest change of an unheard speed, 1/s (250 rpm/s at 1000 rpm, common practice).
UNHEARD_RATE = 0.25
# Values are kept as what they lack to the best chirp rate of their cell, in this many steps per
# nat; who lacks more than a jump costs leads nowhere, and how much more need not be known.
STEPS_PER_NAT = 40.0
MOST_LACK = 255.0 / STEPS_PER_NAT


@dataclass(frozen=True, kw_only=True, eq=False)
class Path:
    """A path: cells of the speed grid and of the alpha grid per frame (-1 where silent)."""

    cell: NDArray[np.int64]
    alpha: NDArray[np.int64]
    score: float


@dataclass(frozen=True, kw_only=True, eq=False)
class _Kept:
    """What the way back needs of every frame.

    Attributes:
        top: the best value of each cell over chirp rates.
        lack: what each state lacks to it, shape (alphas, cells), in 1/`STEPS_PER_NAT` nats.
        unheard: value of "not heard" of each cell.
    """

    top: list[Row] = field(default_factory=list)
    lack: list[NDArray[np.uint8]] = field(default_factory=list)
    unheard: list[Row] = field(default_factory=list)


def best_path(
    evidence: Iterable[NDArray[np.float32]],
    alphas: NDArray[np.float64],
    *,
    step: float,
    hop_s: float,
    silence_cost: float = SILENCE_COST,
) -> Path:
    """The path of largest summed evidence.

    Args:
        evidence: consecutive blocks of shape (frames, alphas, cells), nats.
        alphas: shape (alphas,), 1/s.
        step: width of a cell in ln(speed).
        hop_s: time between frames.
        silence_cost: nats for each change between heard and not heard.

    Returns:
        the path; its score is the evidence gained over "nothing heard throughout".
    """
    shifts = np.round(alphas * hop_s / step).astype(np.int64)
    drift = int(np.ceil(UNHEARD_RATE * hop_s / step))
    fast = (FAST_COST * np.maximum(np.abs(alphas) - USUAL_RATE, 0.0)).astype(np.float32)[:, None]
    frames = itertools.chain.from_iterable(evidence)
    value = next(frames) - np.float32(silence_cost / 2)
    fast = np.repeat(fast, value.shape[1], axis=1)
    # only the outer rows are dearer
    usual = np.flatnonzero(fast[:, 0] == 0)
    outer = slice(0, usual[0]), slice(usual[-1] + 1, None)
    price = np.float32(silence_cost)
    move = _Move.of(shifts, value.shape[1])
    kept = _Kept()
    kept.unheard.append(np.zeros(value.shape[1], np.float32))
    for frame in frames:
        top = value.max(axis=0)
        np.copyto(move.tops, top)
        kept.top.append(top)
        kept.lack.append(move.lack(value))
        move(value, kept.unheard[-1] - price)
        value += frame
        for rows in outer:
            value[rows] -= fast[rows]
        kept.unheard.append(np.maximum(top - price, _highest_near(kept.unheard[-1], drift)))
    return _trace(value, kept, silence_cost, shifts, drift)


def _highest_near(values: Row, reach: int) -> Row:
    """The highest of the values up to `reach` cells away, shape as `values`.

    By doubling the width that each value covers, which for a row as short as this takes a third of
    the time of SciPy's `maximum_filter1d`.
    """
    row = np.concatenate([beside := np.full(reach, -np.inf, np.float32), values, beside])
    width, wanted = 1, 2 * reach + 1
    while width < wanted:
        further = min(width, wanted - width)
        row = np.maximum(row[:-further], row[further:])
        width += further
    return row


@dataclass(frozen=True, kw_only=True, eq=False)
class _Move:
    """One step of all states: change alpha (near, or any at a price), move by it, with slack.

    It is passes over whole arrays that take the time, so each works in place and, where it can, on
    arrays without gaps, which are passed over twice as fast as rows of a wider array or a row that
    is repeated.

    Attributes:
        moved: for each alpha the part of `wide` that its row moves to.
        inside: the part of `beside` above the grid.
        wide, beside: the states moved and beside the place they move to, shape
            (alphas, cells + 2 margins); no path comes from the margins.
        tops: the best alpha of each cell, for all alphas, shape (alphas, cells).
        spare: room to work in, same shape.
        most: `MOST_LACK`, same shape.
    """

    moved: list[Row]
    inside: Row
    wide: Row
    beside: Row
    tops: Row
    spare: Row
    most: Row

    @staticmethod
    def of(shifts: NDArray[np.int64], cells: int) -> _Move:
        count, margin = len(shifts), int(np.abs(shifts).max()) + 1
        width = cells + 2 * margin
        wide = np.full((count, width), -np.inf, np.float32)
        first = [margin + shift for shift in shifts.tolist()]
        # what lies beside is looked at when the room to work in is free again
        room = np.zeros(count * width, np.float32)
        return _Move(
            moved=[row[k : k + cells] for row, k in zip(wide, first, strict=True)],
            wide=wide.reshape(-1),
            beside=room,
            inside=room.reshape(count, width)[:, margin : margin + cells],
            spare=room[: count * cells].reshape(count, cells),
            tops=np.empty((count, cells), np.float32),
            most=np.full((count, cells), MOST_LACK, np.float32),
        )

    def lack(self, value: Row) -> NDArray[np.uint8]:
        """What each state of `value` lacks to the best alpha of its cell, in short."""
        lack = self.spare
        np.subtract(self.tops, value, out=lack)
        np.minimum(lack, self.most, out=lack)
        lack *= np.float32(STEPS_PER_NAT)
        return lack.astype(np.uint8)

    def __call__(self, value: Row, begun: Row) -> None:
        """Move `value`, shape (alphas, cells), in place; `begun` is what each cell can begin at."""
        near = self.spare
        np.subtract(value, np.float32(ALPHA_COST), out=near)
        self.tops[...] -= np.float32(ALPHA_JUMP_COST)
        np.maximum(value, self.tops, out=value)
        for change in (1, 2):
            np.maximum(value[change:], near[:-change], out=value[change:])
            np.maximum(value[:-change], near[change:], out=value[:-change])
            if change == 1:
                near -= np.float32(ALPHA_COST)
        for to, row in zip(self.moved, value, strict=True):
            to[...] = row
        np.maximum(self.wide[:-2], self.wide[2:], out=self.beside[1:-1])
        self.beside[...] -= np.float32(SLACK_COST)
        np.maximum(self.beside, self.wide, out=self.beside)
        np.copyto(value, self.inside)
        np.copyto(self.tops, begun)
        np.maximum(value, self.tops, out=value)


def _trace(
    value: Row, kept: _Kept, silence_cost: float, shifts: NDArray[np.int64], drift: int
) -> Path:
    """The way back from the best end."""
    frames, cells = len(kept.unheard), value.shape[1]
    cell = np.full(frames, -1, np.int64)
    alpha = np.full(frames, -1, np.int64)
    a, f = divmod(int(np.argmax(value)), cells)
    loudest, silent = float(value[a, f]) - silence_cost / 2, float(kept.unheard[-1].max())
    heard = loudest > silent
    if not heard:
        f = int(np.argmax(kept.unheard[-1]))
    price = _change_prices(len(shifts))
    for t in range(frames - 1, -1, -1):
        if heard:
            cell[t], alpha[t] = f, a
        if t == 0:
            break
        before, top = kept.unheard[t - 1], kept.top[t - 1]
        if heard:
            from_silence = float(before[f]) - silence_cost
            gain, a, whence = _origin(kept.lack[t - 1], top, price[a], f - int(shifts[a]))
            heard = gain >= from_silence
            f = whence if heard else f
        else:
            first = max(0, f - drift)
            near = before[first : f + drift + 1]
            heard = float(top[f]) - silence_cost > float(near.max())
            if heard:
                a = int(np.argmin(kept.lack[t - 1][:, f]))
            else:
                f = first + int(np.argmax(near))
    return Path(cell=cell, alpha=alpha, score=max(loudest, silent))


def _change_prices(count: int) -> NDArray[np.float64]:
    """Nats for each change of alpha, shape (to, from)."""
    change = np.abs(np.arange(count)[:, None] - np.arange(count)[None, :])
    return np.where(change <= 2, ALPHA_COST * change, ALPHA_JUMP_COST)


def _origin(
    lack: NDArray[np.uint8], top: Row, price: NDArray[np.float64], middle: int
) -> tuple[float, int, int]:
    """The best way to come to a cell from `middle` or beside it: its value, alpha and cell."""
    first = max(0, middle - 1)
    # all three cells at once: a call costs more than the few numbers that it works on
    cost = lack[:, first : max(0, middle + 2)] / STEPS_PER_NAT + price[:, None]
    if not cost.size:
        return -np.inf, 0, 0
    whence = cost.argmin(axis=0).tolist()
    least = cost.min(axis=0).tolist()
    best = (-np.inf, 0, 0)
    for f in sorted(range(first, first + len(least)), key=lambda f: abs(f - middle)):
        gain = float(top[f]) - least[f - first] - SLACK_COST * abs(f - middle)
        if gain > best[0]:
            best = (gain, whence[f - first], f)
    return best
