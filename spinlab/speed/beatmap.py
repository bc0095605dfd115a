"""Beat maps: evidence for a beat of the carrier envelopes at each rate and chirp rate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.beat_kernels import BeatKernels
from spinlab.speed.evidence import Floats, LogGrid, line_evidence
from spinlab.speed.frames import Short, blocks, news_share, put, room
from spinlab.speed.modulation import Envelopes
from spinlab.speed.ranks import median

MODULATION_FRAME_S = 1.6
# On a plateau longer frames hear fainter beats; they serve the row of zero chirp rate only.
LONG_BEAT_FRAME_S = 3.2
LOWEST_MODULATION_HZ = 1.2
HIGHEST_MODULATION_HZ = 62.0
# A quarter of a short frame's line; cells between two bins are interpolated.
MODULATION_BIN_HZ = 0.3
# Width in Hz over which the noise floor of a beat is taken, and over which it is smoothed.
FLOOR_WIDTH_HZ = 6.0
FLOOR_SMOOTH_HZ = 3.0
BEAT_BINS_HZ = np.arange(LOWEST_MODULATION_HZ, HIGHEST_MODULATION_HZ, MODULATION_BIN_HZ)
# Evidence that one carrier band may give to one modulation line, and the prior that it beats.
MODULATION_LIMIT = 4.0
MODULATION_PRIOR = 0.2


def beat_map(
    envelopes: Envelopes | None,
    time_s: NDArray[np.float64],
    alphas: NDArray[np.float64],
    grid: LogGrid,
) -> Short:
    """Evidence for a beat at each rate, summed over the carrier bands."""
    if envelopes is None:
        cells = grid.extended(HIGHEST_MODULATION_HZ)
        return room(len(time_s), len(alphas), min(cells.count, grid.count))
    centres = np.round((time_s - envelopes.start_s) * envelopes.rate_hz).astype(np.int64)
    zero = len(alphas) // 2
    cells = grid.extended(HIGHEST_MODULATION_HZ)
    place = (cells.frequency_hz - BEAT_BINS_HZ[0]) / MODULATION_BIN_HZ
    index = np.clip(np.floor(place).astype(int), 0, len(BEAT_BINS_HZ) - 2)
    part = np.clip(place - index, 0.0, 1.0).astype(np.float32)
    out = room(len(time_s), len(alphas), cells.count)
    short = _BeatHearing.of(envelopes, centres, alphas[zero:], MODULATION_FRAME_S)
    long = _BeatHearing.of(envelopes, centres, np.zeros(1), LONG_BEAT_FRAME_S)
    for block in blocks(len(time_s)):
        total = short.evidence(centres[block], block)
        longer = long.evidence(centres[block], block)[:, 0]
        np.maximum(total[:, zero], longer, out=total[:, zero])
        on_cells = np.take(np.diff(total, axis=-1), index, axis=-1, mode="clip")
        on_cells *= part
        on_cells += np.take(total, index, axis=-1, mode="clip")
        on_cells[..., place < -0.5] = 0.0
        put(on_cells, out[block])
    return out


@dataclass(frozen=True, kw_only=True, eq=False)
class _BeatHearing:
    """How beats are heard in frames of one length: kernels, and the noise floor of each row.

    `floors` has the shape (rows, frames, bins), for all frames of the recording.
    """

    rows: Floats
    kernels: BeatKernels
    floors: Floats
    frame_s: float

    @staticmethod
    def of(
        envelopes: Envelopes,
        centres: NDArray[np.int64],
        rising: NDArray[np.float64],
        frame_s: float,
    ) -> _BeatHearing:
        """The floors need the whole recording, at the chirp rate 0 alone."""
        rate_hz, frame = envelopes.rate_hz, round(frame_s * envelopes.rate_hz)
        still = BeatKernels.of(BEAT_BINS_HZ, np.zeros(1), frame=frame, rate_hz=rate_hz)
        # row by row, for all frames of a long recording are many
        powers = (next(still.powers(row[None], centres))[1][0] for row in envelopes.rows)
        return _BeatHearing(
            rows=envelopes.rows,
            kernels=BeatKernels.of(BEAT_BINS_HZ, rising, frame=frame, rate_hz=rate_hz),
            floors=np.stack([_modulation_floor(power) for power in powers]),
            frame_s=frame_s,
        )

    def evidence(self, centres: NDArray[np.int64], block: slice) -> Floats:
        """Evidence for a beat at each rate, shape (frames, alphas, bins)."""
        middle = len(self.kernels.even_cosine) - 1
        total = np.empty((len(centres), 2 * middle + 1, len(BEAT_BINS_HZ)), np.float32)
        news, floors = news_share(self.frame_s), self.floors[:, block]
        for alpha, power in self.kernels.powers(self.rows, centres):
            power /= floors
            heard = line_evidence(power, prior=MODULATION_PRIOR, limit=MODULATION_LIMIT / news)
            total[:, middle + alpha] = heard.sum(axis=0)
        total *= np.float32(news)
        return total


def _modulation_floor(power: Floats) -> Floats:
    """Noise floor of envelope spectra (frames, cells): one shape for all frames, one level each."""
    from scipy.ndimage import percentile_filter, uniform_filter1d

    usual = median(np.ascontiguousarray(power.T)) / np.log(2.0)
    shape = percentile_filter(usual, 40, size=_odd(FLOOR_WIDTH_HZ), mode="nearest")
    shape = np.maximum(uniform_filter1d(shape, _odd(FLOOR_SMOOTH_HZ), mode="nearest"), 1e-12)
    level = median(power / shape) / np.log(2.0)
    return (np.maximum(level, 1e-6)[:, None] * shape[None, :]).astype(np.float32)


def _odd(width_hz: float) -> int:
    """The odd number of bins nearest to a width."""
    return round(width_hz / MODULATION_BIN_HZ) // 2 * 2 + 1
