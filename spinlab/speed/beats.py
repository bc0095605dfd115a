"""Beats along a course: the drum's own rate, measured against whatever the path follows.

The envelopes of the carrier bands are followed over windows of several turns; a beat at the drum's
rate then stands at one fixed factor of the course, whatever the speed did.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats, line_evidence
from spinlab.speed.follow import Course, Followed, at_orders, follow
from spinlab.speed.frames import news_share
from spinlab.speed.modulation import Envelopes

# Long windows hear faint beats on plateaus, short ones still hear them on ramps.
WINDOWS_S = (4.8, 9.6)
BEAT_HOP_S = 1.2
HIGHEST_BEAT_HZ = 62.0
# Speech beats at 2-5 Hz, syllable by syllable; a drum that spins is faster.
LOWEST_BEAT_HZ = 4.0
BEAT_PRIOR = 0.3
BEAT_LIMIT = 12.0
FLOOR_WIDTH_HZ = 4.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Beats:
    """Followed envelope spectra, one per carrier band and one of all bands together.

    `news` is the share of a window that the window before did not hold.
    """

    time_s: NDArray[np.float64]
    rows: tuple[Followed, ...]
    news: float = 1.0


def follow_beats(
    envelopes: Envelopes,
    course: Course,
    time_s: NDArray[np.float64],
    *,
    window_s: float,
) -> Beats:
    """Envelope spectra along a course in windows centred on `time_s`."""
    if not len(time_s):
        return Beats(time_s=time_s, rows=())
    rows = follow(
        envelopes.rows,
        envelopes.rate_hz,
        envelopes.start_s,
        course,
        time_s,
        frame_s=window_s,
        highest_hz=HIGHEST_BEAT_HZ,
        floor_width_hz=FLOOR_WIDTH_HZ,
    )
    hop_s = float(np.diff(time_s).min()) if len(time_s) > 1 else window_s
    return Beats(time_s=time_s, rows=rows, news=news_share(window_s, hop_s))


def beat_evidence(beats: Beats, factors: NDArray[np.float64]) -> Floats:
    """Evidence for a beat at `factors` times the course's rate, shape (windows, factors).

    Relative to a factor taken at random in the same window; 0 where a beat could not be told.
    """
    total = np.zeros((len(beats.time_s), len(factors)), np.float32)
    for row in beats.rows:
        ratio = at_orders(row, factors)
        pitch = row.rate_hz[:, None] * factors[None, :]
        audible = np.isfinite(ratio) & (pitch >= LOWEST_BEAT_HZ)
        value = line_evidence(np.nan_to_num(ratio), prior=BEAT_PRIOR, limit=BEAT_LIMIT)
        value[~audible] = np.nan
        told = audible.any(axis=1)
        value[told] -= np.nanmedian(value[told], axis=1, keepdims=True)
        total += np.nan_to_num(value)
    return total
