"""Beats along a course: the drum's own rate, measured against whatever the path follows.

The envelopes of the carrier bands are followed over windows of several turns; a beat at the drum's
rate then stands at one fixed factor of the course, whatever the speed did.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats, line_evidence
from spinlab.speed.follow import Course, Followed, follow
from spinlab.speed.frames import news_of
from spinlab.speed.modulation import Envelopes
from spinlab.speed.places import places

# Along a known course a beat stays in phase for many turns; creep ends it sooner or later.
WINDOWS_S = (9.6, 19.2)
HIGHEST_BEAT_HZ = 62.0
# Speech beats at 2-5 Hz, syllable by syllable; a drum that spins is faster.
LOWEST_BEAT_HZ = 4.0
# Prior that a band beats at all, and mean power over noise of a beat that does: faint.
BEAT_PRIOR = 0.3
BEAT_SNR = 6.0
# Most nats that a row gives, and most that it gives to the place of a beat known to be the drum's:
# cut off, a strong one would not tell it.
BEAT_LIMIT = 12.0
PLACE_LIMIT = 100.0
# Of the factors, which lie closer than a beat is wide, every such one serves for the median.
THINNED = 4
FLOOR_WIDTH_HZ = 4.0
# Hum and its torque beat at the mains' rate whatever the drum does, and a drum at 1000 rpm does so
# three times a turn.  A beat stands if it is heard at this share of all speeds passed (levels as
# wide as this in ln(speed), at least so many of them); mean power over noise that is heard.
STANDING_WINDOW_S = 4.8
LEVEL = 0.05
LEAST_LEVELS = 3
STANDS_SHARE = 0.6
LEAST_RATIO = 2.5
RATIO_LIMIT = 8.0


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
    stands: tuple[NDArray[np.float64], ...] = (),
) -> Beats:
    """Envelope spectra along a course in windows centred on `time_s`.

    `stands` are the rates of each row at which a beat stands, and which say nothing.
    """
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
    reach_hz = 2.0 / window_s  # half the main lobe of a Hann window
    for row, standing_hz in zip(rows, stands, strict=False):
        rate_hz = row.bin_hz * np.arange(row.ratio.shape[1])
        for stand_hz in standing_hz:
            row.ratio[:, np.abs(rate_hz - stand_hz) < reach_hz] = 1.0
    return Beats(time_s=time_s, rows=rows, news=news_of(time_s, window_s))


def beats_along(
    envelopes: Envelopes, course: Course, centres_s: Callable[[float], NDArray[np.float64]]
) -> tuple[Beats, ...]:
    """Beats along a course in windows of every length, less what stands.

    Args:
        envelopes: of the recording.
        course: followed.
        centres_s: gives the windows' centres from their length, s.
    """
    stands = standing_beats(envelopes, course)
    return tuple(
        follow_beats(envelopes, course, centres_s(window_s), window_s=window_s, stands=stands)
        for window_s in WINDOWS_S
    )


def standing_beats(envelopes: Envelopes, course: Course) -> tuple[NDArray[np.float64], ...]:
    """Rates in Hz at which each row beats while the speed along a course changes."""
    time_s = np.arange(course.time_s[0], course.time_s[-1], STANDING_WINDOW_S / 2)
    if not len(time_s):
        return tuple(np.zeros(0) for _ in envelopes.rows)
    still = Course(time_s=time_s[[0, -1]], log_hz=np.zeros(2), slope=np.zeros(2))
    rows = follow(
        envelopes.rows,
        envelopes.rate_hz,
        envelopes.start_s,
        still,
        time_s,
        frame_s=STANDING_WINDOW_S,
        highest_hz=HIGHEST_BEAT_HZ,
        floor_width_hz=FLOOR_WIDTH_HZ,
    )
    level = np.floor(np.log(course.rate_hz(time_s)) / LEVEL).astype(np.int64)
    levels, member = np.unique(level, return_inverse=True)
    if len(levels) < LEAST_LEVELS:
        return tuple(np.zeros(0) for _ in rows)
    limited = np.clip(np.stack([row.ratio for row in rows]), 0.0, RATIO_LIMIT)
    means = [limited[:, member == k].mean(axis=1) for k in range(len(levels))]
    stands = (np.array(means) > LEAST_RATIO).mean(axis=0) >= STANDS_SHARE
    return tuple(
        row.bin_hz * np.flatnonzero(stand).astype(np.float64)
        for row, stand in zip(rows, stands, strict=True)
    )


def beat_evidence(beats: Beats, factors: NDArray[np.float64]) -> Floats:
    """Evidence for a beat at `factors` times the course's rate, shape (windows, factors).

    Relative to a factor taken at random in the same window; 0 where a beat could not be told.
    """
    return limited_evidence(beats, factors, (BEAT_LIMIT,))[0]


def limited_evidence(
    beats: Beats, factors: NDArray[np.float64], limits: tuple[float, ...]
) -> Floats:
    """`beat_evidence` with several limits to what a row gives, shape (limits, windows, factors)."""
    total = np.zeros((len(limits), len(beats.time_s), len(factors)), np.float32)
    if not beats.rows:
        return total
    # all rows follow one course in the same windows
    place = places(beats.rows[0], factors)
    pitch_hz = beats.rows[0].rate_hz[:, None] * factors[None, :]
    audible = place.inside & (pitch_hz >= LOWEST_BEAT_HZ)
    some = audible[:, ::THINNED]
    told = audible & some.any(axis=1, keepdims=True)
    for row in beats.rows:
        value = line_evidence(
            place.values(row.ratio), prior=BEAT_PRIOR, mean_snr=BEAT_SNR, limit=max(limits)
        )
        value -= _median(value[:, ::THINNED], some)[:, None]
        value *= told
        for part, limit in zip(total, limits, strict=True):
            part += np.clip(value, np.float32(-np.inf), np.float32(limit))
    return total


def _median(values: Floats, told: NDArray[np.bool_]) -> Floats:
    """Median of what is told in each row; 0 where nothing is."""
    count = told.sum(axis=1)
    ordered = np.sort(np.where(told, values, np.float32(np.inf)), axis=1)
    rows = np.arange(len(values))
    middle = np.float32(0.5) * (ordered[rows, (count - 1) // 2] + ordered[rows, count // 2])
    return np.where(count > 0, middle, np.float32(0.0))
