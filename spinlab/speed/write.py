"""Writing down: from the best reading to a `SpeedTrack` that says how sure it is, and of what."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.candidates import Candidate
from spinlab.speed.drumlock import Lock
from spinlab.speed.level import frame_noise
from spinlab.speed.maps import Maps
from spinlab.speed.motion import classify
from spinlab.speed.pieces import proved, still_pieces
from spinlab.speed.reasons import STANDING, why_relative
from spinlab.speed.refine import Refined
from spinlab.speed.runs import carried, linked, moves, proven_apart, run_numbers
from spinlab.speed.shown import Own, nats, own_evidence, supported, with_motor
from spinlab.speed.steady_tones import mains, steady_lines
from spinlab.speed.track import CLOCK_SHARE, LockedLine, Rival, SpeedTrack, WholePlateau
from spinlab.speed.zoom import Zoomed

# A stretch known less well than this share follows no line, and is not shown; frames of its mean.
MOST_SIGMA = 0.0035
MOST_FELT_SIGMA = 0.015
LOST_FRAME = 2.0
SIGMA_FRAMES = 9
# What is left of a path, if its levels lie within this width of ln(speed), is a level or two: any
# multiple of the true speed would do as well, unless its own evidence amounts to this (nats).
ALONE_WIDTH = 0.4
ALONE_NATS = 30.0
# Width of ln(speed) within which all that is left does not move at all.
STANDING_WIDTH = 0.1
SHOWN_RIVAL = 0.01


def write_down(
    refined: Refined,
    scales: tuple[Candidate, ...],
    lock: Lock,
    maps: Maps,
    *,
    felt: bool = False,
    rigid: bool = False,
    plateaus: Zoomed | None = None,
    programme_rpm: tuple[float, ...] = (),
) -> SpeedTrack:
    """The track of the best reading, with its rivals and what could not be told.

    `felt` says that the scale is that of a felt first order, which must be heard to move; `rigid`
    that the motor sits on the drum; `plateaus` are those that were read as a whole; a plateau that
    `programme_rpm` does not ask for needs more proof.
    """
    factor, weight = scales[0].factor, scales[0].weight
    heard = np.flatnonzero(np.isin(maps.time_s, refined.time_s))
    correction = np.interp(refined.time_s, lock.time_s, lock.correction)
    lock_sigma = np.interp(refined.time_s, lock.time_s, lock.sigma)
    own = own_evidence(lock, refined.time_s)
    carried_on = carried(refined, own.support)
    run = run_numbers(refined.time_s, refined.log_hz, carried_on)
    joined = linked(refined, run)
    turned = with_motor(own, refined, joined) if rigid else own
    # one sensor feels one order, which no other stands for: its path may be faint between stretches
    moving = moves(refined, run_numbers(refined.time_s, refined.log_hz) if felt else joined)
    if not moving and (felt or not proven_apart(refined, scales[0].measured_standout)):
        return nothing(maps, STANDING)
    keep = carried_on & supported(refined, joined, turned, factor)
    if not felt:
        keep &= proved(refined, run, own, maps, factor, programme_rpm, turned=turned)
    relative = np.hypot(np.hypot(refined.sigma, lock_sigma), scales[0].sigma)
    # a heavy drum does not jump: what its readings scatter by is not known better than that
    relative = np.maximum(relative, frame_noise(refined.log_hz))
    most = MOST_FELT_SIGMA if felt else MOST_SIGMA
    blurred = relative[keep]
    keep &= (steady_sigma(relative) < most) & (relative < LOST_FRAME * most)
    if not felt and _alone(refined.log_hz[keep], run[keep], turned.part(keep)):
        keep[:] = False
    known = heard[keep]
    if not felt and len(known) and np.ptp(refined.log_hz[keep]) < STANDING_WIDTH:
        return nothing(maps, STANDING)
    count = len(maps.time_s)
    speed, sigma, confidence = np.full(count, np.nan), np.full(count, np.nan), np.zeros(count)
    log_hz = refined.log_hz + correction + np.log(factor)
    if plateaus is not None:
        whole = np.isfinite(plateaus.log_hz)
        log_hz = np.where(whole, plateaus.log_hz, log_hz)
        relative = np.where(whole, np.hypot(plateaus.sigma, CLOCK_SHARE), relative)
    speed[known] = 60.0 * np.exp(log_hz[keep])
    sigma[known] = speed[known] * relative[keep]
    local = 1 - np.exp(-np.maximum(own.support + 0.3 * refined.gain, 0) / 3)
    confidence[known] = weight * local[keep]
    evidence = np.full(count, "", dtype="<U16")
    evidence[known] = _carried_by(own)[keep]
    reason = why_relative(speed, scales, blurred)
    return SpeedTrack(
        time_s=maps.time_s,
        speed_rpm=speed,
        standard_uncertainty_rpm=sigma,
        confidence=confidence,
        motion=classify(maps.time_s, speed, sigma),
        carried_by=evidence,
        scale="relative" if reason else "absolute",
        rivals=tuple(
            Rival(ratio=c.factor / factor, weight=c.weight)
            for c in scales
            if c.weight >= SHOWN_RIVAL
        ),
        lines=_lines(refined, factor),
        steady_lines=steady_lines(maps),
        mains_hz=mains(maps.steady_hz),
        plateaus=_wholes(plateaus, maps.time_s[heard], keep) if plateaus is not None else (),
        programme_used=not reason and scales[0].by_programme,
        shared_uncertainty=float(np.hypot(np.median(lock_sigma[keep]), scales[0].sigma))
        if keep.any()
        else 0.0,
        reason=reason,
    )


def _alone(log_hz: NDArray[np.float64], run: NDArray[np.int64], own: Own) -> bool:
    """Whether all that would be shown is a level or two that little proves."""
    levels = [float(np.median(log_hz[piece])) for piece in still_pieces(log_hz, run)]
    return float(np.ptp(levels or [0.0])) < ALONE_WIDTH and nats(own) < ALONE_NATS


def _wholes(
    plateaus: Zoomed, time_s: NDArray[np.float64], keep: NDArray[np.bool_]
) -> tuple[WholePlateau, ...]:
    """The plateaus that were read as a whole, as far as they are shown."""
    found = []
    for frames, log_hz, sigma in plateaus.wholes:
        speed_rpm = 60.0 * float(np.exp(log_hz))
        if keep[frames].all():
            found.append(
                WholePlateau(
                    start_s=float(time_s[frames[0]]),
                    end_s=float(time_s[frames[-1]]),
                    speed_rpm=speed_rpm,
                    standard_uncertainty_rpm=speed_rpm * sigma,
                )
            )
    return tuple(found)


def steady_sigma(relative: NDArray[np.float64]) -> NDArray[np.float64]:
    """The uncertainty of the frames around each frame: one blurred frame condemns nothing."""
    from scipy.ndimage import median_filter

    usual: NDArray[np.float64] = median_filter(relative, SIGMA_FRAMES, mode="nearest")
    return usual


def _carried_by(own: Own) -> NDArray[np.str_]:
    """What carried each frame: the drum's beats, its orders, or the motor alone."""
    by_beats = own.beating > 0.5 * np.maximum(own.support, 0.0)
    return np.where(
        own.support > 1.0, np.where(by_beats, "modulation", "drum orders"), "motor orders"
    )


def _lines(refined: Refined, factor: float) -> tuple[LockedLine, ...]:
    """The lines that move with the drum, strongest first."""
    out = []
    for k in np.argsort(-refined.strength):
        if refined.strength[k] <= 0.2:
            continue
        order = float(refined.orders[k] / factor)
        whole = abs(order - round(order)) < 0.006 * order and order < 20.5
        out.append(
            LockedLine(
                order=order,
                # strength is in nats of evidence; the ratio to noise that gives it, in dB
                level_db=float(10 * np.log10(max(refined.strength[k], 0.1) + 3.0)),
                source="drum" if whole else "other",
            )
        )
    return tuple(out)


def nothing(maps: Maps, reason: str) -> SpeedTrack:
    """A track without any speed, and why."""
    count = len(maps.time_s)
    unknown = np.full(count, np.nan)
    return SpeedTrack(
        time_s=maps.time_s,
        speed_rpm=unknown,
        standard_uncertainty_rpm=unknown.copy(),
        confidence=np.zeros(count),
        motion=np.full(count, "unknown"),
        carried_by=np.full(count, "", dtype="<U16"),
        scale="relative",
        steady_lines=steady_lines(maps),
        mains_hz=mains(maps.steady_hz),
        reason=reason,
    )
