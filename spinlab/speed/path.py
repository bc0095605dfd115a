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
    from scipy.ndimage import maximum_filter1d

    shifts = np.round(alphas * hop_s / step).astype(np.int64)
    drift = int(np.ceil(UNHEARD_RATE * hop_s / step))
    fast = (FAST_COST * np.maximum(np.abs(alphas) - USUAL_RATE, 0.0)).astype(np.float32)[:, None]
    price = np.float32(silence_cost)
    frames = itertools.chain.from_iterable(evidence)
    value = next(frames) - np.float32(silence_cost / 2)
    move = _Move.of(shifts, value.shape[1])
    kept = _Kept()
    kept.unheard.append(np.zeros(value.shape[1], np.float32))
    for frame in frames:
        top = value.max(axis=0)
        _keep(kept, value, top, move.spare)
        move(value, top)
        np.maximum(value, kept.unheard[-1] - price, out=value)
        value += frame
        value -= fast
        drifted = maximum_filter1d(kept.unheard[-1], 2 * drift + 1, mode="nearest")
        kept.unheard.append(np.maximum(top - price, drifted))
    return _trace(value, kept, silence_cost, shifts, drift)


def _keep(kept: _Kept, value: Row, top: Row, spare: Row) -> None:
    """Put a frame's values by."""
    np.subtract(top, value, out=spare)
    np.minimum(spare, np.float32(MOST_LACK), out=spare)
    spare *= np.float32(STEPS_PER_NAT)
    kept.top.append(top)
    kept.lack.append(spare.astype(np.uint8))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Move:
    """One step of all states: change alpha (near, or any at a price), move by it, with slack.

    Attributes:
        shifts: cells that each alpha moves by.
        margin: cells beside the grid in `wide`, which no path comes from.
        wide, spare: room to work in, shape (alphas, cells + 2 margins) and (alphas, cells).
    """

    shifts: NDArray[np.int64]
    margin: int
    wide: Row
    spare: Row

    @staticmethod
    def of(shifts: NDArray[np.int64], cells: int) -> _Move:
        margin = int(np.abs(shifts).max()) + 1
        return _Move(
            shifts=shifts,
            margin=margin,
            wide=np.full((len(shifts), cells + 2 * margin), -np.inf, np.float32),
            spare=np.empty((len(shifts), cells), np.float32),
        )

    def __call__(self, value: Row, top: Row) -> None:
        """Move `value`, shape (alphas, cells), in place; `top` is its best alpha per cell."""
        near = self.spare
        np.subtract(value, np.float32(ALPHA_COST), out=near)
        np.maximum(value, top - np.float32(ALPHA_JUMP_COST), out=value)
        for change in (1, 2):
            np.maximum(value[change:], near[:-change], out=value[change:])
            np.maximum(value[:-change], near[change:], out=value[:-change])
            near -= np.float32(ALPHA_COST)
        cells, margin = value.shape[1], self.margin
        for row, own, shift in zip(self.wide, value, self.shifts.tolist(), strict=True):
            row[margin + shift : margin + shift + cells] = own
        left, middle, right = (self.wide[:, margin + k : margin + k + cells] for k in (-1, 0, 1))
        np.maximum(left, right, out=value)
        value -= np.float32(SLACK_COST)
        np.maximum(value, middle, out=value)


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
    best = (-np.inf, 0, 0)
    for beside in (0, -1, 1):
        f = middle + beside
        if 0 <= f < len(top):
            cost = lack[:, f] / STEPS_PER_NAT + price
            a = int(np.argmin(cost))
            gain = float(top[f]) - float(cost[a]) - SLACK_COST * abs(beside)
            if gain > best[0]:
                best = (gain, a, f)
    return best
