"""The maps that all tracking reads: tones and modulations over (time, chirp rate, log frequency).

Tones come in three bands with frames that shorten as frequency rises, so that every cell of the
log grid is about one spectral bin wide and a chirp blurs each band alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import Band
from spinlab.speed.beatmap import beat_map
from spinlab.speed.chirp import alpha_grid
from spinlab.speed.evidence import Floats, LogGrid, line_evidence
from spinlab.speed.frames import CACHED_FRAMES, HOP_S, Short, blocks, news_share, put, room
from spinlab.speed.modulation import Envelopes
from spinlab.speed.tones import LOWEST_STANDING_HZ, cell_ratio, hearing_of, long_frames

# A lone band of a sensor's log has no other voice beside it; its strong lines may count more.
ONE_BAND_WEIGHT = 0.6
# Power over local noise at which a line counts as there.
PRESENT_RATIO = 4.5
GRID_STEP = 0.007


@dataclass(frozen=True, kw_only=True, eq=False)
class Maps:
    """Evidence maps of one recording.

    Attributes:
        time_s: shape (frames,), frame centres on the file's own clock.
        alphas: shape (alphas,), 1/s.
        grid: the log grid of `lines`; `modulation` covers its first cells.
        lines: shape (frames, alphas, cells), in half precision, evidence of a line in nats, taken
            down where it stands still for most of the recording and weighted by how much of a
            frame is news: frames longer than the hop overlap, and evidence counted twice would
            outvote the physics of the path.
        modulation: shape (frames, alphas, cells), in half precision, summed evidence in nats over
            carrier bands.
        present: shape (cells,), the evidence at which a line counts as there.
        steady_hz: frequencies of lines that stand still.
        lowest_tone_hz: no tone is looked for below this.
    """

    time_s: NDArray[np.float64]
    alphas: NDArray[np.float64]
    grid: LogGrid
    lines: Short
    modulation: Short
    present: Floats
    steady_hz: NDArray[np.float64]
    lowest_tone_hz: float

    @property
    def hop_s(self) -> float:
        """Time between frames."""
        return HOP_S


def make_maps(
    bands: tuple[Band, ...],
    envelopes: Envelopes | None,
    *,
    start_s: float,
    duration_s: float,
    lowest_hz: float,
    lowest_tone_hz: float,
) -> Maps:
    """Evidence maps of a recording.

    Args:
        bands: its tone bands, lowest first.
        envelopes: its carrier envelopes, or None where there are none to beat.
        start_s: time of the first sample.
        duration_s: length.
        lowest_hz: slowest drum rate looked for.
        lowest_tone_hz: no tone is looked for below this.
    """
    fine = alpha_grid()
    alphas = fine[::2]
    zero = len(alphas) // 2
    grid = LogGrid(first_hz=lowest_hz, step=GRID_STEP, count=1).extended(bands[-1].high_hz)
    frames = max(1, int(duration_s / HOP_S))
    seconds = (np.arange(frames, dtype=np.float64) + 0.5) * HOP_S
    lines = room(frames, len(alphas), grid.count)
    weight = np.ones(grid.count, np.float32)
    steady: list[float] = []
    for band in bands:
        first, last = grid.cell_of(band.low_hz), min(grid.count, grid.cell_of(band.high_hz))
        part = LogGrid(first_hz=float(grid.frequency_hz[first]), step=grid.step, count=last - first)
        weight[first:last] = news_share(band.frame_s) if len(bands) > 1 else ONE_BAND_WEIGHT
        hearing = hearing_of(band, seconds, fine, band.frame_s)
        longer = long_frames(band, seconds, part) if band is bands[0] else None
        for block in blocks(frames, CACHED_FRAMES):
            ratio = cell_ratio(hearing, seconds, block, part)
            if longer is not None:
                np.maximum(ratio[:, zero], longer[block], out=ratio[:, zero])
            put(line_evidence(ratio) * weight[first:last], lines[block, :, first:last])
        low_hz = max(band.low_hz, LOWEST_STANDING_HZ) if band.rate_hz > 600 else band.low_hz
        steady += list(
            hearing.still_hz[(hearing.still_hz >= low_hz) & (hearing.still_hz < band.high_hz)]
        )
    return Maps(
        time_s=start_s + seconds,
        alphas=alphas,
        grid=grid,
        lines=lines,
        modulation=beat_map(envelopes, start_s + seconds, alphas, grid),
        present=line_evidence(np.full(grid.count, PRESENT_RATIO, np.float32)) * weight,
        steady_hz=np.unique(np.array(steady)),
        lowest_tone_hz=lowest_tone_hz,
    )
