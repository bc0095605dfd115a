"""The best path through (chirp rate, speed) over time.

A state is a cell of the log-speed grid and a chirp rate.  The chirp rate says where the next frame
must lie, so the physics of a heavy drum is in the transition itself; only changes of the chirp
rate cost anything.  Each speed has one more state, "not heard", with evidence zero and a price to
enter and to leave; unheard, the speed drifts no faster than a drum can change, so what is heard
again must be within reach of what was heard before.  The search is Viterbi's (Forney 1973, Proc.
IEEE 61:268-278), banded; a dense transition matrix over the same 40 000 states would not fit in
memory.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
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
# Nats per frame for each 1/s that a chirp rate exceeds what a drum reaches once it spins: lines
# that change faster are followed where they are heard, but none is bridged at that rate.
USUAL_RATE = 0.25
FAST_COST = 25.0
# Fastest change of an unheard speed, 1/s (250 rpm/s at 1000 rpm, common practice).
UNHEARD_RATE = 0.25


@dataclass(frozen=True, kw_only=True, eq=False)
class Path:
    """A path: cells of the speed grid and of the alpha grid per frame (-1 where silent)."""

    cell: NDArray[np.int64]
    alpha: NDArray[np.int64]
    score: float


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
    frames = itertools.chain.from_iterable(evidence)
    value = next(frames) - np.float32(silence_cost / 2)
    cells = value.shape[1]
    unheard = [np.zeros(cells, np.float32)]
    came = [np.zeros(value.shape, np.int8)]
    ended = [np.full(cells, -1, np.int16)]
    for frame in frames:
        moved, code = _transition(value, shifts)
        entry = unheard[-1] - np.float32(silence_cost)
        code[moved < entry] = FROM_SILENCE
        came.append(code)
        top = np.argmax(value, axis=0)
        leaving = value[top, np.arange(cells)] - np.float32(silence_cost)
        drifted = maximum_filter1d(unheard[-1], 2 * drift + 1, mode="nearest")
        ended.append(np.where(leaving > drifted, top, -1).astype(np.int16))
        unheard.append(np.maximum(leaving, drifted))
        np.maximum(moved, entry, out=moved)
        moved += frame
        moved -= fast
        value = moved
    return _trace(value, unheard, silence_cost, came, ended, shifts, drift)


FROM_SILENCE = -1


def _transition(
    value: NDArray[np.float32], shifts: NDArray[np.int64]
) -> tuple[NDArray[np.float32], NDArray[np.int8]]:
    """One step: change alpha (near, or any at a price), move by it, one cell of slack.

    Returns the best value for each new state and its origin coded as alpha * 3 + slack.
    """
    count_alpha, cells = value.shape
    top = np.argmax(value, axis=0)
    best = np.empty_like(value)
    best[:] = value[top, np.arange(cells)] - np.float32(ALPHA_JUMP_COST)
    origin = np.empty(value.shape, np.int8)
    origin[:] = top * 3 + 1
    own = (np.arange(count_alpha, dtype=np.int8) * 3 + 1)[:, None]
    for change in (0, 1, -1, 2, -2):
        rows = slice(max(0, change), count_alpha + min(0, change))
        candidate = value[rows.start - change : rows.stop - change]
        candidate = candidate - np.float32(ALPHA_COST * abs(change))
        better = candidate > best[rows]
        np.copyto(best[rows], candidate, where=better)
        np.copyto(origin[rows], own[rows] - np.int8(3 * change), where=better)
    margin = int(np.abs(shifts).max()) + 1
    wide = np.full((count_alpha, cells + 2 * margin), -np.inf, np.float32)
    wide_origin = np.zeros((count_alpha, cells + 2 * margin), np.int8)
    for row, shift in enumerate(shifts):
        wide[row, margin + shift : margin + shift + cells] = best[row]
        wide_origin[row, margin + shift : margin + shift + cells] = origin[row]
    moved = wide[:, margin : margin + cells].copy()
    code = wide_origin[:, margin : margin + cells].copy()
    for slack in (-1, 1):
        beside = slice(margin + slack, margin + slack + cells)
        candidate = wide[:, beside] - np.float32(SLACK_COST)
        better = candidate > moved
        np.copyto(moved, candidate, where=better)
        np.copyto(code, wide_origin[:, beside] + np.int8(slack), where=better)
    return moved, code


def _trace(
    value: NDArray[np.float32],
    unheard: list[NDArray[np.float32]],
    silence_cost: float,
    came: list[NDArray[np.int8]],
    ended: list[NDArray[np.int16]],
    shifts: NDArray[np.int64],
    drift: int,
) -> Path:
    """Follow the stored origins back from the best end."""
    frames, cells = len(came), value.shape[1]
    cell = np.full(frames, -1, np.int64)
    alpha = np.full(frames, -1, np.int64)
    a, f = divmod(int(np.argmax(value)), cells)
    loudest = float(value[a, f]) - silence_cost / 2
    heard = loudest > float(unheard[-1].max())
    if not heard:
        f = int(np.argmax(unheard[-1]))
    score = max(loudest, float(unheard[-1].max()))
    for t in range(frames - 1, -1, -1):
        if heard:
            cell[t], alpha[t] = f, a
            code = int(came[t][a, f])
            if code == FROM_SILENCE:
                heard = False
            elif t > 0:
                before, slack = divmod(code, 3)
                f = min(max(f - int(shifts[a]) + slack - 1, 0), cells - 1)
                a = before
        elif ended[t][f] >= 0:
            a = int(ended[t][f])
            heard = True
        elif t > 0:
            first = max(0, f - drift)
            f = first + int(np.argmax(unheard[t - 1][first : f + drift + 1]))
    return Path(cell=cell, alpha=alpha, score=score)
