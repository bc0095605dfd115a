"""Between plateaus: a drum followed up its ramps and down again by the blows of its damage.

Where it stands on the plateaus is known (`plateaus`).  From there the same lines are followed in
the band in which they were heard, in frames warped to every rate of change that a drum can have, as
the speed tracker follows its tones (`speed.chirp`, `speed.path`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.bearings.blows import Blows, as_nats
from spinlab.speed.chirp import alpha_grid, warped_power
from spinlab.speed.evidence import Floats, LogGrid, family_evidence, to_log_grid
from spinlab.speed.frames import HOP_S, news_share
from spinlab.speed.path import best_path
from spinlab.speed.voices import centre

Array = NDArray[np.float64]

FRAME_S = 2.0
SLOWEST_HZ = 2.5
STEP = 0.003
# Fastest change that is followed, 1/s: a drum gains 250 rpm/s at 1000 rpm (common practice).
FASTEST = 0.35
# No blow is looked for below this rate: speech beats there.
LOWEST_HZ = 4.0
# On a plateau the path gains so many nats within so many cells of where the drum is known to be.
KNOWN_NATS = np.float32(8.0)
KNOWN_CELLS = 4
# What any path that picks the best of all states gains in a frame of noise: of the frames that
# gain more 93 % lay within 1.5 % of the drum on tuning recordings.
NOISE_NATS = np.float32(0.4)


def followed(
    blows: Blows, band: int, orders: Array, known_s: Array, known_log_hz: Array
) -> tuple[Array, Array]:
    """The drum's rate wherever its blows are heard, on plateaus and between them.

    Args:
        blows: of the recording.
        band: in which they are heard.
        orders: shape (lines,), multiples of the drum's rate at which they are heard.
        known_s: shape (n,), times of the plateaus' frames, s.
        known_log_hz: shape (n,), ln of the drum's rate in Hz there.

    Returns:
        Times in s and ln of the rate in Hz, shape (frames,) both.
    """
    envelopes = blows.envelopes
    alphas = alpha_grid()[::2]
    alphas = alphas[np.abs(alphas) < FASTEST]
    fastest_hz = float(np.exp(known_log_hz.max() + 2 * KNOWN_CELLS * STEP))
    highest_hz = min(float(orders.max()) * fastest_hz, 0.5 * envelopes.rate_hz)
    time_s = np.arange(0.0, envelopes.values.shape[1] / envelopes.rate_hz, HOP_S)
    power, bin_hz = warped_power(
        blows.row(band),
        np.round(time_s * envelopes.rate_hz).astype(np.int64),
        alphas,
        frame=round(FRAME_S * envelopes.rate_hz),
        rate_hz=envelopes.rate_hz,
        highest_hz=highest_hz,
    )
    blows.whiten(power, bin_hz, FRAME_S)
    grid = LogGrid(first_hz=SLOWEST_HZ, step=STEP, count=1).extended(highest_hz)
    lines = as_nats(to_log_grid(power, bin_hz, grid), news_share(FRAME_S))
    evidence = family_evidence(
        lines, grid, orders, count=grid.cell_of(fastest_hz), lowest_hz=LOWEST_HZ
    )
    centre(evidence, 0)
    evidence -= NOISE_NATS
    time_s += envelopes.start_s
    _know(evidence, grid, time_s, known_s, known_log_hz)
    path = best_path([evidence], alphas, step=grid.step, hop_s=HOP_S)
    heard = path.cell >= 0
    return time_s[heard], np.log(grid.first_hz) + grid.step * path.cell[heard]


def _know(
    evidence: Floats, grid: LogGrid, time_s: Array, known_s: Array, known_log_hz: Array
) -> None:
    """Favour, in place, the cells in which the drum is known to be."""
    cells = np.round((known_log_hz - np.log(grid.first_hz)) / grid.step).astype(np.int64)
    apart_s = np.abs(time_s[:, None] - known_s)
    for frame in np.flatnonzero(apart_s.min(axis=1) <= 0.5 * HOP_S + 1e-9):
        cell = int(cells[np.argmin(apart_s[frame])])
        evidence[frame, :, max(0, cell - KNOWN_CELLS) : cell + KNOWN_CELLS + 1] += KNOWN_NATS
