"""The tracker: recording -> speed track, one step after the other.

    tone bands, envelopes -> maps -> acquire -> refine -> scale -> lock to the drum -> track

Each step's own module explains it; this one only orders them and says what could not be told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.acquire import Evidence, acquire, gather, track_drum
from spinlab.speed.beats import BEAT_HOP_S, follow_beats
from spinlab.speed.drumlock import CREEP_SIGMA, LOCK_HOP_S, Lock, lock_to_drum
from spinlab.speed.follow import course_of
from spinlab.speed.family import Family, learn
from spinlab.speed.maps import HOP_S, Band, Maps, sound_maps, tone_bands
from spinlab.speed.modulation import Envelopes, band_envelopes
from spinlab.speed.path import Path
from spinlab.speed.refine import Refined, refine
from spinlab.speed.scale import Candidate, RatioPrior, candidates, scan_scales
from spinlab.speed.track import SpeedTrack

if TYPE_CHECKING:
    from spinlab.machine import Machine

Progress = Callable[[str, float], None]

# Nats above a random reading, and weight among the rivals, that make the scale absolute.
LEAST_STANDOUT = 11.0
LEAST_WEIGHT = 0.85
LEAST_HEARD_FRAMES = 12
HIGHEST_TONE_HZ = 8000.0
SLOWEST_TOP_SHARE = 6.0
DRUM_ROUNDS = 2
LEAST_STRENGTH = 0.2
# A drum's rate changes by less than this share between frames, and a run of frames needs this many
# nats of the drum's own evidence to be shown.
LARGEST_LEAP = 0.2
LEAST_RUN_SUPPORT = 5.0


def track_speed(
    recording: Recording,
    machine: Machine | None = None,
    *,
    rpm_range: tuple[float, float] = (30.0, 1800.0),
    progress: Progress | None = None,
) -> SpeedTrack:
    """The speed of the rotating thing in a recording."""
    tell = progress or (lambda step, share: None)
    tell("listening at every chirp rate", 0.0)
    bands = tone_bands(recording, highest_hz=HIGHEST_TONE_HZ)
    envelopes = band_envelopes(recording, highest_hz=HIGHEST_TONE_HZ)
    maps = sound_maps(
        bands,
        envelopes,
        start_s=recording.start_s,
        duration_s=recording.duration_s,
        lowest_hz=max(rpm_range[0] / 60.0, 0.5),
    )
    tell("following what moves", 0.4)
    evidence = gather(maps, highest_hz=rpm_range[1] / 60.0)
    heard = Heard(
        maps=maps,
        evidence=evidence,
        bands=bands,
        envelopes=envelopes,
        start_s=recording.start_s,
        top_range_hz=(rpm_range[1] / 60.0 / SLOWEST_TOP_SHARE, rpm_range[1] / 60.0),
        prior=_ratio_prior(machine),
    )
    found = acquire(evidence, maps)
    tell("finding the drum", 0.6)
    readings = [r for a in found if (r := _read(a.path, a.family, heard)) is not None]
    if not readings:
        return _nothing(maps, "nothing in this recording moves as a drum does")
    best = max(readings, key=_standout)
    tell("following the drum", 0.8)
    for _ in range(DRUM_ROUNDS):
        again = _again(best, heard)
        if again is None or _standout(again) <= _standout(best):
            break
        best = again
    return _finish(best, heard)


@dataclass(frozen=True, kw_only=True, eq=False)
class Heard:
    """Everything that was heard, and what is known beforehand."""

    maps: Maps
    evidence: Evidence
    bands: tuple[Band, ...]
    envelopes: Envelopes
    start_s: float
    top_range_hz: tuple[float, float]
    prior: RatioPrior | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """A refined course and the scales that it may have, best first."""

    refined: Refined
    scales: tuple[Candidate, ...]


def _standout(reading: Reading) -> float:
    return reading.scales[0].standout


def _ratio_prior(machine: Machine | None) -> RatioPrior | None:
    return None


def _read(path: Path, family: Family, heard: Heard) -> Reading | None:
    """Refine a path and weigh the scales it may have; None where too little is heard."""
    known = path.cell >= 0
    if known.sum() < LEAST_HEARD_FRAMES:
        return None
    grid, time_s = heard.maps.grid, heard.maps.time_s[known]
    log_hz = np.log(grid.first_hz) + grid.step * path.cell[known]
    if len(family.offsets):
        orders = np.exp(family.offsets * grid.step)
        refined = refine(heard.bands, heard.start_s, time_s, log_hz, orders)
    else:
        refined = _unrefined(time_s, log_hz)
    windows = np.arange(time_s[0] + 1, time_s[-1] - 1, BEAT_HOP_S)
    beats = follow_beats(heard.envelopes, refined.course, windows)
    scan = scan_scales(refined, beats, range_hz=heard.top_range_hz, prior=heard.prior)
    return Reading(refined=refined, scales=candidates(scan))


def _again(reading: Reading, heard: Heard) -> Reading | None:
    """Track anew on the drum's own grid with the orders just measured."""
    orders = reading.refined.orders / reading.scales[0].factor
    strength = reading.refined.strength
    use = strength > LEAST_STRENGTH
    family = Family(
        offsets=np.round(np.log(orders[use]) / heard.maps.grid.step).astype(np.int64),
        shares=np.clip(strength[use] / 6.0, 0.1, 0.95),
    )
    path = track_drum(family, heard.evidence, heard.maps)
    learned = learn(path, heard.maps) if (path.cell >= 0).any() else family
    return _read(path, learned if len(learned.offsets) else family, heard)


def _unrefined(time_s: NDArray[np.float64], log_hz: NDArray[np.float64]) -> Refined:
    """A path without lines of its own: beats alone will correct it."""
    none = np.zeros(0)
    return Refined(
        time_s=time_s,
        log_hz=log_hz,
        sigma=np.full(len(time_s), 0.004),
        gain=np.zeros(len(time_s)),
        orders=none,
        order_sigma=none,
        strength=none,
    )


def _finish(reading: Reading, heard: Heard) -> SpeedTrack:
    """Lock the best reading to the drum and write the track down."""
    refined, factor = reading.refined, reading.scales[0].factor
    log_drum = refined.log_hz + np.log(factor)
    course = course_of(refined.time_s, log_drum, known=np.ones(len(log_drum), bool))
    lock = lock_to_drum(
        heard.bands[0],
        heard.envelopes,
        heard.start_s,
        course,
        np.arange(refined.time_s[0], refined.time_s[-1], LOCK_HOP_S),
        whole_orders=np.union1d(whole_orders(refined, factor), np.arange(1.0, 9.0)),
        beat_orders=(1.0, 2.0),
    )
    return _assemble(refined, reading.scales, lock, heard.maps)


def whole_orders(refined: Refined, factor: float) -> NDArray[np.float64]:
    """The drum's whole orders, up to 20, among the lines that were measured."""
    orders = refined.orders / factor
    whole = np.round(orders)
    near = np.abs(orders / np.maximum(whole, 1) - 1) < 0.006
    return np.unique(whole[near & (whole >= 1) & (whole <= 20)])


def _assemble(
    refined: Refined, scales: tuple[Candidate, ...], lock: Lock, maps: Maps
) -> SpeedTrack:
    factor = scales[0].factor
    heard = np.isin(maps.time_s, refined.time_s)
    correction = np.interp(refined.time_s, lock.time_s, lock.correction)
    lock_sigma = np.interp(refined.time_s, lock.time_s, lock.sigma)
    support = np.interp(refined.time_s, lock.time_s, lock.support)
    speed = np.full(len(maps.time_s), np.nan)
    sigma = np.full(len(maps.time_s), np.nan)
    confidence = np.zeros(len(maps.time_s))
    keep = _supported(refined, support)
    speed[heard] = 60.0 * factor * np.exp(refined.log_hz + correction)
    relative = np.hypot(np.minimum(refined.sigma, CREEP_SIGMA), lock_sigma)
    sigma[heard] = speed[heard] * relative
    weight = scales[0].weight
    lost = np.flatnonzero(heard)[~keep]
    speed[lost] = np.nan
    sigma[lost] = np.nan
    confidence[heard] = weight * (1 - np.exp(-np.maximum(support + 0.3 * refined.gain, 0) / 3))
    confidence[lost] = 0.0
    absolute = scales[0].standout >= LEAST_STANDOUT and weight >= LEAST_WEIGHT
    return SpeedTrack(
        time_s=maps.time_s,
        speed_rpm=speed,
        standard_uncertainty_rpm=sigma,
        confidence=confidence,
        motion=np.full(len(speed), "unknown"),
        carried_by=np.full(len(speed), ""),
        scale="absolute" if absolute else "relative",
    )


def _supported(refined: Refined, support: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Frames in unbroken runs that the drum's own evidence supports.

    A path may leave the drum for a foreign line; it can do so only by a break, and a run between
    breaks that neither beats nor drum orders support is not shown.
    """
    gap = np.diff(refined.time_s) > 1.5 * HOP_S
    leap = np.abs(np.diff(refined.log_hz)) > LARGEST_LEAP
    run = np.concatenate([[0], np.cumsum(gap | leap)])
    keep = np.zeros(len(run), bool)
    for number in np.unique(run):
        inside = run == number
        keep[inside] = support[inside].sum() * HOP_S / LOCK_HOP_S > LEAST_RUN_SUPPORT
    return keep


def _nothing(maps: Maps, reason: str) -> SpeedTrack:
    count = len(maps.time_s)
    return SpeedTrack(
        time_s=maps.time_s,
        speed_rpm=np.full(count, np.nan),
        standard_uncertainty_rpm=np.full(count, np.nan),
        confidence=np.zeros(count),
        motion=np.full(count, "unknown"),
        carried_by=np.full(count, ""),
        scale="relative",
        reason=reason,
    )
