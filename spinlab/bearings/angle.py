"""Envelopes over the drum's angle, and the parts in which the drum was fast or slow."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.envelope.bands import BandEnvelopes
from spinlab.orders import Cells, Span, angle_cells, cell_means
from spinlab.speed.track import SpeedTrack

Array = NDArray[np.float64]

# From this share of the top speed on the drum counts as fast; a part by itself needs so many turns
# to tell orders 0.04 apart.
_FAST_SHARE = 0.75
_LEAST_PART_TURNS = 40.0


def over_angle(
    piece: BandEnvelopes,
    track: SpeedTrack,
    span: Span,
    cells_per_turn: int,
    *,
    bands: slice = slice(None),
) -> Array:
    """Envelopes of a stretch at equal steps of the drum's angle, shape (bands, cells)."""
    inside, begin_s = _cells_within(piece, track, span, cells_per_turn)
    return cell_means(piece.values[bands], piece.rate_hz, inside, start_s=begin_s)


def cell_rates_hz(
    piece: BandEnvelopes, track: SpeedTrack, span: Span, cells_per_turn: int
) -> Array:
    """Turns of the drum per second in each cell of `over_angle`."""
    cells, _ = _cells_within(piece, track, span, cells_per_turn)
    rates: Array = 1.0 / (cells_per_turn * (cells.end_s - cells.begin_s))
    return rates


def _cells_within(
    piece: BandEnvelopes, track: SpeedTrack, span: Span, cells_per_turn: int
) -> tuple[Cells, float]:
    """The cells of equal angle that a stretch's envelopes cover, and when the first begins."""
    cells = angle_cells(track, span, cells_per_turn=cells_per_turn)
    begin_s = piece.start_s - 0.5 / piece.rate_hz
    end_s = begin_s + piece.values.shape[1] / piece.rate_hz
    return cells.within(begin_s, end_s), begin_s


def parts_by_speed(rate_hz: Array, cells_per_turn: int) -> list[NDArray[np.int64] | slice]:
    """Everything; and its fast and slow cells apart, where both are long enough.

    Damage may drown in the noise of one speed and stand clear at another.

    Args:
        rate_hz: shape (cells,), turns of the drum per second in each cell.
        cells_per_turn: cells per drum turn.
    """
    turns = len(rate_hz) // cells_per_turn
    # Whole turns, so that lines of the drum's own turning stay lines where a part is in pieces.
    rate = rate_hz[: turns * cells_per_turn].reshape(turns, cells_per_turn).mean(axis=1)
    fast = rate >= _FAST_SHARE * np.percentile(rate, 99.0) if turns else np.zeros(0, bool)
    if min(np.count_nonzero(fast), np.count_nonzero(~fast)) < _LEAST_PART_TURNS:
        return [slice(None)]
    return [
        slice(None),
        *(np.flatnonzero(np.repeat(part, cells_per_turn)) for part in (fast, ~fast)),
    ]
