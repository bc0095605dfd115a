"""Orders of a signal that is sampled much faster than it turns: angular resampling first.

At equal steps of angle every window holds the same angles, so the least squares of
`spinlab.vibration.window_fit` need be solved once for the whole recording.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spinlab.orders import cell_edges, cell_means, turning_spans
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from spinlab.vibration.tracking import OrderTrack, uncertainty_at
from spinlab.vibration.window_fit import reader, smoothed_noise


def angular_orders(
    recording: Recording,
    track: SpeedTrack,
    orders: Sequence[float],
    *,
    turns: float,
    cells_per_turn: int = 32,
    overlap: float = 0.5,
) -> OrderTrack:
    """Track orders in windows of `turns` drum turns over every stretch where the speed is known.

    Amplitudes are in the recording's own unit; the windows' phases refer to the track's angle.
    `trouble` is "" throughout: the caller chooses orders that the rate can hold.
    """
    wanted = np.array(sorted(orders), dtype=float)
    size = round(turns * cells_per_turn)
    step = max(1, round(size * (1.0 - overlap)))
    angle = 2.0 * np.pi * (np.arange(size) + 0.5) / cells_per_turn
    read = reader(angle, wanted)
    droop = np.sinc(wanted / cells_per_turn)
    start_s = recording.start_s - 0.5 / recording.rate_hz
    blocks, noises, centres, lengths = [], [], [], []
    for span in turning_spans(track, least_rpm=30.0, least_turns=turns):
        edges = cell_edges(track, span, cells_per_turn=cells_per_turn)
        cells = cell_means(recording.samples, recording.rate_hz, edges, start_s=start_s)
        windows = np.lib.stride_tricks.sliding_window_view(cells, size, axis=1)[:, ::step]
        amplitude, noise = read.read(np.ascontiguousarray(windows))
        blocks.append(np.moveaxis(amplitude / droop, 2, 0))
        noises.append(np.moveaxis(noise / droop, 2, 0))
        first = np.arange(windows.shape[1]) * step
        centres.append(0.5 * (edges[first] + edges[first + size]))
        lengths.append(edges[first + size] - edges[first])
    shape = (len(wanted), recording.channels, 0)
    blank = np.zeros(0)
    time = np.concatenate([blank, *centres])
    speed: NDArray[np.float64] = track.speed_at(time) if len(time) else np.zeros(0)
    return OrderTrack(
        orders=wanted,
        axes=recording.channel_names,
        time_s=time,
        length_s=np.concatenate([blank, *lengths]),
        speed_rpm=speed,
        speed_uncertainty_rpm=uncertainty_at(track, time),
        amplitude=np.concatenate([np.zeros(shape, dtype=complex), *blocks], axis=2),
        standard_uncertainty=smoothed_noise(np.concatenate([np.zeros(shape), *noises], axis=2)),
        shared_uncertainty=np.zeros((len(wanted), recording.channels, len(time))),
        trouble=np.full((len(wanted), len(time)), "", dtype="<U1"),
    )
