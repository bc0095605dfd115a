"""Locking to the drum: what the belt's creep hides between a motor line and the drum itself.

A course that follows motor lines runs a few tenths of a percent off the drum, more under torque.
Beats at the drum's rate and lines at its whole orders are the drum's own; window by window they
give a small correction, kept smooth because creep changes slowly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import Band
from spinlab.speed.beats import (
    BEAT_LIMIT,
    PLACE_LIMIT,
    Beats,
    beat_evidence,
    follow_beats,
    limited_evidence,
    standing_beats,
)
from spinlab.speed.evidence import Floats, line_evidence
from spinlab.speed.follow import Course, follow, standing
from spinlab.speed.frames import blocks, news_share
from spinlab.speed.modulation import Envelopes
from spinlab.speed.places import at_orders
from spinlab.speed.refine import Refined, curvature_sigma, smooth_correction

LOCK_WINDOW_S = 3.6
LOCK_HOP_S = 0.6
REACH = 0.016
STEP = 0.0005
TONE_FRAME_S = 2.4
TONE_LIMIT = 300.0
# Creep is reported as 0.5-1 % (value from memory).  The scale holds its mean; what it changes by
# from stage to stage stands between the motor and a drum that is not heard itself.
BELT_CREEP_SIGMA = 0.0015
# A direct drive has none.
RIGID_SIGMA = 0.0003
# Readings that share beats with the true one.
MULTIPLES = (1.0, 1 / 3, 0.5, 2 / 3, 1.5, 2.0, 3.0)
KIN_MARGIN = 0.3
KIN_STEP = 0.004
# Windows overlap, and creep changes slowly: weight of its prior in each.
PRIOR_WEIGHT = 0.25
# Bands and orders hear the same turns, and windows overlap: share of their evidence that moves the
# drum against the course.
LOCK_TEMPER = 0.4
# All windows together hear the same noise again and again: only loud beats mend what they share.
SHARED_TEMPER = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class Lock:
    """The drum against the course: correction of ln(rate), its sigma, and local evidence.

    Attributes:
        time_s: shape (windows,).
        correction, sigma: shape (windows,).
        support: shape (windows,), nats by which beats and drum orders favour the reading over a
            random one nearby.
        from_beats: shape (windows,), share of that support that beats gave.
        kin: shape (windows, multiples), nats of a beat at each of `MULTIPLES` of the drum's rate;
            none where there are no beats.
        room: shape (windows,), how often the speed fits into the fastest that was looked for.
        scale_sigma: standard uncertainty that is left of ln(scale), which all windows share.
    """

    time_s: NDArray[np.float64]
    correction: NDArray[np.float64]
    sigma: NDArray[np.float64]
    support: NDArray[np.float64]
    from_beats: NDArray[np.float64]
    kin: NDArray[np.float64]
    room: NDArray[np.float64]
    scale_sigma: float = np.inf


def lock_to_drum(
    low_band: Band,
    envelopes: Envelopes | None,
    start_s: float,
    course: Course,
    time_s: NDArray[np.float64],
    *,
    whole_orders: NDArray[np.float64],
    beat_orders: tuple[float, ...],
    steady_hz: NDArray[np.float64],
    highest_hz: float,
    scale_sigma: float,
    creep_sigma: float = BELT_CREEP_SIGMA,
) -> Lock:
    """Correct a course of the drum by the drum's own evidence.

    Args:
        low_band: the lowest tone band.
        envelopes: carrier envelopes, or None for an acceleration log.
        start_s: time of the first sample.
        course: the drum's rate, up to creep.
        time_s: window centres.
        whole_orders: the drum's whole orders that are heard.
        beat_orders: orders at which the noise beats.
        steady_hz: sorted frequencies of tones that stand still.
        highest_hz: the fastest drum that is looked for.
        scale_sigma: standard uncertainty of ln(scale), an error that all windows share.
        creep_sigma: standard deviation of what creep changes by.
    """
    logs = np.arange(-REACH, REACH + STEP / 2, STEP)
    tone = _tone_evidence(low_band, start_s, course, time_s, whole_orders, logs, steady_hz)
    beat, sharp, kin = np.zeros_like(tone), np.zeros_like(tone), np.zeros((len(time_s), 0))
    if envelopes is not None:
        stands = standing_beats(envelopes, course)
        kin = np.zeros((len(time_s), len(MULTIPLES)))
        for block in blocks(len(time_s)):
            beats = follow_beats(
                envelopes, course, time_s[block], window_s=LOCK_WINDOW_S, stands=stands
            )
            for order in beat_orders:
                both = limited_evidence(beats, order * np.exp(logs), (BEAT_LIMIT, PLACE_LIMIT))
                beat[block] += both[0]
                sharp[block] += both[1]
            kin[block] = _kinship(beats)
    news = news_share(LOCK_WINDOW_S, LOCK_HOP_S)
    total, placed = news * (tone + beat), news * (tone + sharp)
    shift, left_sigma = _shared(news * sharp, logs, scale_sigma)
    away = ((logs - shift) / creep_sigma) ** 2
    prior = np.float32(PRIOR_WEIGHT * 0.5) * away.astype(np.float32)
    held = np.float32(LOCK_TEMPER) * placed - prior
    best = smooth_correction(held)
    rows = np.arange(len(best))
    pooled = _pooled(held)
    sigma = np.minimum(curvature_sigma(pooled, best, logs), creep_sigma)
    support = total[rows, best]
    share = np.clip(news * beat[rows, best] / np.maximum(support, 1e-6), 0.0, 1.0)
    return Lock(
        time_s=time_s,
        correction=logs[best],
        sigma=sigma,
        support=support.astype(np.float64),
        from_beats=np.where(support > 0, share, 0.0),
        kin=news * kin,
        room=highest_hz / course.rate_hz(time_s),
        scale_sigma=left_sigma,
    )


def _shared(total: Floats, logs: NDArray[np.float64], sigma: float) -> tuple[float, float]:
    """The correction that all windows share, of known spread beforehand, and what is left of it."""
    curve = SHARED_TEMPER * total.sum(axis=0) - 0.5 * (logs / max(sigma, STEP)) ** 2
    weight = np.exp(curve - curve.max())
    mean = float(np.average(logs, weights=weight))
    spread = float(np.sqrt(np.average((logs - mean) ** 2, weights=weight)))
    return mean, min(sigma, float(np.hypot(spread, STEP / 2)))


def _kinship(beats: Beats) -> NDArray[np.float64]:
    """Evidence of a beat at each of `MULTIPLES` over that of any rate, in each window."""
    logs = np.arange(
        np.log(MULTIPLES[1]) - KIN_MARGIN, np.log(MULTIPLES[-1]) + KIN_MARGIN, KIN_STEP
    )
    value = beat_evidence(beats, np.exp(logs)).astype(np.float64)
    value -= value.mean(axis=1, keepdims=True)
    return value[:, np.round((np.log(MULTIPLES) - logs[0]) / KIN_STEP).astype(int)]


def felt_lock(refined: Refined) -> Lock:
    """The lock of a felt first order: the course is the drum, and its own gain supports it."""
    count = len(refined.time_s)
    return Lock(
        time_s=refined.time_s,
        correction=np.zeros(count),
        sigma=np.zeros(count),
        support=refined.gain,
        from_beats=np.zeros(count),
        kin=np.zeros((count, 0)),
        room=np.ones(count),
    )


def _pooled(total: Floats, reach: int = 4) -> Floats:
    """Evidence summed over neighbouring windows, over which creep hardly changes."""
    from scipy.ndimage import uniform_filter1d

    size = min(2 * reach + 1, max(1, len(total)))
    return uniform_filter1d(total, size, axis=0, mode="nearest") * size


def _tone_evidence(
    band: Band,
    start_s: float,
    course: Course,
    time_s: NDArray[np.float64],
    orders: NDArray[np.float64],
    logs: NDArray[np.float64],
    steady_hz: NDArray[np.float64],
) -> Floats:
    """Evidence of the drum's whole orders, relative to a random correction."""
    out = np.zeros((len(time_s), len(logs)), np.float32)
    if not len(orders) or not len(time_s):
        return out
    (followed,) = follow(
        band.signal[None],
        band.rate_hz,
        start_s,
        course,
        time_s,
        frame_s=TONE_FRAME_S,
        highest_hz=band.high_hz * 1.03,
        floor_width_hz=16.0,
    )
    for order in orders:
        pitch = followed.rate_hz * order
        heard = (pitch >= band.low_hz) & (pitch < band.high_hz) & ~standing(pitch, steady_hz)
        ratio = np.nan_to_num(at_orders(followed, order * np.exp(logs)))
        value = line_evidence(ratio, prior=0.4, limit=TONE_LIMIT)
        value -= np.median(value, axis=1, keepdims=True)
        out[heard] += value[heard]
    return out
