"""The best path through (chirp rate, speed) over time.

A state is a cell of the log-speed grid and a chirp rate.  The chirp rate says where the next frame
must lie, so the physics of a heavy drum is in the transition itself; only changes of the chirp
rate cost anything.  One more state, "nothing heard", has evidence zero and a price to enter and to
leave.  The search is Viterbi's (Forney 1973, Proc. IEEE 61:268-278), banded; a dense transition
matrix over the same 40 000 states would not fit in memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Nats for each cell of the alpha grid changed per frame, and for a sudden change to any alpha.
ALPHA_COST = 1.5
ALPHA_JUMP_COST = 6.0
# Nats to begin or end being heard: about the log of the number of states one can begin in.
SILENCE_COST = 9.0
# Nats for landing one cell beside where the chirp rate points.
SLACK_COST = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Path:
    """A path: cells of the speed grid and of the alpha grid per frame (-1 where silent)."""

    cell: NDArray[np.int64]
    alpha: NDArray[np.int64]
    score: float


def _shifted(values: NDArray[np.float32], shifts: NDArray[np.int64]) -> NDArray[np.float32]:
    """Row a moved right by shifts[a] cells, -inf moved in."""
    count = values.shape[1]
    source = np.arange(count)[None, :] - shifts[:, None]
    inside = (source >= 0) & (source < count)
    moved = np.take_along_axis(values, np.clip(source, 0, count - 1), axis=1)
    return np.where(inside, moved, np.float32(-np.inf))


def best_path(
    evidence: NDArray[np.float32],
    alphas: NDArray[np.float64],
    *,
    step: float,
    hop_s: float,
    silence_cost: float = SILENCE_COST,
) -> Path:
    """The path of largest summed evidence.

    Args:
        evidence: shape (frames, alphas, cells), nats.
        alphas: shape (alphas,), 1/s.
        step: width of a cell in ln(speed).
        hop_s: time between frames.
        silence_cost: nats for each change between heard and not heard.

    Returns:
        the path; its score is the evidence gained over "nothing heard throughout".
    """
    frames, count_alpha, cells = evidence.shape
    exact = alphas * hop_s / step
    shifts = np.round(exact).astype(np.int64)
    value = evidence[0] - np.float32(silence_cost / 2)
    silent = np.float32(0.0)
    came = np.zeros((frames, count_alpha, cells), np.int16)
    ended = np.full((frames, 2), -1, np.int64)
    began = np.zeros((frames, count_alpha, cells), bool)
    for t in range(1, frames):
        moved, origin = _transition(value, shifts)
        from_silence = moved < silent - silence_cost
        began[t] = from_silence
        came[t] = origin
        top = int(np.argmax(value))
        ended[t] = (top, 0) if value.flat[top] - silence_cost > silent else (-1, 0)
        new_silent = max(silent, np.float32(value.flat[top] - silence_cost))
        value = np.where(from_silence, silent - np.float32(silence_cost), moved) + evidence[t]
        silent = new_silent
    return _trace(value, float(silent), silence_cost, came, began, ended, shifts)


def _transition(
    value: NDArray[np.float32], shifts: NDArray[np.int64]
) -> tuple[NDArray[np.float32], NDArray[np.int16]]:
    """One step: change alpha (near, or any at a price), move by it, one cell of slack.

    Returns the best value for each new state and its origin coded as alpha * 3 + slack.
    """
    count_alpha = value.shape[0]
    best = value.copy()
    origin = np.repeat(np.arange(count_alpha)[:, None], value.shape[1], axis=1).astype(np.int16)
    for change in (1, 2):
        cost = np.float32(ALPHA_COST * change)
        for sign in (-1, 1):
            lo, hi = max(0, sign * change), count_alpha + min(0, sign * change)
            candidate = value[lo - sign * change : hi - sign * change] - cost
            better = candidate > best[lo:hi]
            best[lo:hi] = np.where(better, candidate, best[lo:hi])
            row = (np.arange(lo, hi) - sign * change).astype(np.int16)[:, None]
            origin[lo:hi] = np.where(better, row, origin[lo:hi])
    top = np.argmax(value, axis=0)
    jump = value[top, np.arange(value.shape[1])] - np.float32(ALPHA_JUMP_COST)
    better = jump[None, :] > best
    best = np.where(better, jump[None, :], best)
    origin = np.where(better, top.astype(np.int16)[None, :], origin)
    moved = _shifted(best, shifts)
    origin = np.take_along_axis(
        origin,
        np.clip(np.arange(value.shape[1])[None, :] - shifts[:, None], 0, value.shape[1] - 1),
        axis=1,
    )
    left = np.full_like(moved, -np.inf)
    left[:, 1:] = moved[:, :-1] - np.float32(SLACK_COST)
    right = np.full_like(moved, -np.inf)
    right[:, :-1] = moved[:, 1:] - np.float32(SLACK_COST)
    code = origin * 3 + 1
    out = moved
    better = left > out
    out = np.where(better, left, out)
    shifted_origin = np.empty_like(origin)
    shifted_origin[:, 0] = origin[:, 0]
    shifted_origin[:, 1:] = origin[:, :-1]
    code = np.where(better, shifted_origin * 3, code)
    better = right > out
    out = np.where(better, right, out)
    shifted_origin = np.empty_like(origin)
    shifted_origin[:, -1] = origin[:, -1]
    shifted_origin[:, :-1] = origin[:, 1:]
    code = np.where(better, shifted_origin * 3 + 2, code)
    return out, code.astype(np.int16)


def _trace(
    value: NDArray[np.float32],
    silent: float,
    silence_cost: float,
    came: NDArray[np.int16],
    began: NDArray[np.bool_],
    ended: NDArray[np.int64],
    shifts: NDArray[np.int64],
) -> Path:
    """Follow the stored origins back from the best end."""
    frames, _, cells = came.shape
    cell = np.full(frames, -1, np.int64)
    alpha = np.full(frames, -1, np.int64)
    top = int(np.argmax(value))
    heard = value.flat[top] - silence_cost / 2 > silent
    score = max(float(value.flat[top]) - silence_cost / 2, silent)
    a, f = divmod(top, cells)
    for t in range(frames - 1, -1, -1):
        if heard:
            cell[t], alpha[t] = f, a
            if t == 0:
                break
            if began[t, a, f]:
                heard = False
                continue
            before, slack = divmod(int(came[t, a, f]), 3)
            f = min(max(f - int(shifts[a]) + slack - 1, 0), cells - 1)
            a = before
        elif ended[t, 0] >= 0:
            a, f = divmod(int(ended[t, 0]), cells)
            heard = True
    return Path(cell=cell, alpha=alpha, score=score)
