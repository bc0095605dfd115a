"""The tracker: recording -> speed track, one step after the other.

    tone bands, envelopes -> maps -> acquire -> refine -> scale -> lock to the drum -> track

Each step's own module explains it; this one only orders them and says what could not be told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.acquire import FELT_ORDERS, Evidence, acquire, gather, track_drum
from spinlab.speed.beats import BEAT_HOP_S, WINDOWS_S, Beats, follow_beats
from spinlab.speed.drumlock import (
    BELT_CREEP_SIGMA,
    LOCK_HOP_S,
    RIGID_SIGMA,
    felt_lock,
    lock_to_drum,
)
from spinlab.speed.family import Family, learn
from spinlab.speed.follow import Followed, course_of, follow, standing
from spinlab.speed.listen import Listened, listen
from spinlab.speed.path import Path
from spinlab.speed.phase import REST_RATES_HZ, phase_correction
from spinlab.speed.refine import Refined, refine
from spinlab.speed.scale import Candidate, RatioPrior, candidates, measured_ratio, scan_scales
from spinlab.speed.steady import steady_track
from spinlab.speed.track import SpeedTrack
from spinlab.speed.write import linked, moves, nothing, proven_apart, run_numbers, write_down

if TYPE_CHECKING:
    from spinlab.machine import Machine

Progress = Callable[[str, float], None]

LEAST_HEARD_FRAMES = 12
LOWEST_GRID_HZ = 0.5
# A belt's creep lets the drum lag behind the ratio of the pulleys (0.5-1 %, value from memory).
BELT_CREEP = 0.012
SLOWEST_TOP_SHARE = 6.0
LIKELY_WEIGHT = 0.8
LIKELY_NATS = 6.0
# A path that beats alone carry was chosen for them, out of many: nats that this is worth.
SELECTION_NATS = 25.0
LEAST_STRENGTH = 0.2
# A felt first order is broad where it is strong, and the coarse path may lie on its shoulder.
FELT_REACH = 0.03
FELT_FRAMES = 5
FELT_LEAP = 0.1
FELT_WITHIN = 0.004
FELT_STEP = 0.0008
# A line this close to a whole order is the drum's; motor lines can lie half a percent beside one.
WHOLE_REACH = 0.002
# Path evidence counts lines in overlapping frames over and over; scale evidence hardly does.
PATH_SHARE = 0.02
STANDING_COST = 50.0
# A path that its own lines carry is worth more than one that beats had to bridge: nats per frame.
CARRIED_NATS = 0.15
# Share of a path that lines must carry for the drum to be looked for along those lines only.
LEAST_CARRIED = 0.25
# Frames in which faint orders of the drum are looked for once the course is known.
LOW_FRAME_S = 2.4
LOW_HIGHEST_HZ = 400.0
LOW_FLOOR_HZ = 16.0


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
    listened = listen(recording, lowest_hz=max(rpm_range[0] / 60.0, LOWEST_GRID_HZ))
    maps = listened.maps
    tell("following what moves", 0.4)
    evidence = gather(
        maps, highest_hz=rpm_range[1] / 60.0, first_order_felt=listened.first_order_felt
    )
    heard = Heard(
        listened=listened,
        evidence=evidence,
        top_range_hz=(rpm_range[1] / 60.0 / SLOWEST_TOP_SHARE, rpm_range[1] / 60.0),
        prior=ratio_prior(machine),
        programme_rpm=tuple(p.rpm for p in machine.programme) if machine else (),
        creep_sigma=RIGID_SIGMA if machine and machine.drive == "direct" else BELT_CREEP_SIGMA,
    )
    found = acquire(evidence)
    tell("finding the drum", 0.6)
    readings = [r for a in found if (r := _read(a.path, a.family, heard)) is not None]
    if not readings:
        return steady_track(recording, maps, rpm_range=rpm_range) or nothing(
            maps, "nothing in this recording moves as a drum does"
        )
    best = max(readings, key=_merit)
    tell("following the drum", 0.8)
    # tracking on the grid of a doubtful scale would make up the evidence for it
    if best.scales[0].weight > LIKELY_WEIGHT and best.scales[0].measured_standout > LIKELY_NATS:
        again = _again(best, heard)
        if again is not None and _merit(again) > _merit(best):
            best = again
    track = _finish(best, heard)
    if track.reason:
        return steady_track(recording, maps, rpm_range=rpm_range) or track
    return track


@dataclass(frozen=True, kw_only=True, eq=False)
class Heard:
    """Everything that was heard, and what is known beforehand."""

    listened: Listened
    evidence: Evidence
    top_range_hz: tuple[float, float]
    prior: RatioPrior | None
    programme_rpm: tuple[float, ...]
    creep_sigma: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """A refined course and the scales that it may have, best first."""

    refined: Refined
    scales: tuple[Candidate, ...]
    path_score: float


def _merit(reading: Reading) -> float:
    """How well a reading explains the drum's turns, and how well everything that moves."""
    refined = reading.refined
    run = linked(refined, run_numbers(refined.time_s, refined.log_hz))
    proven = moves(refined, run) or proven_apart(refined, reading.scales[0])
    standing = 0.0 if proven else STANDING_COST
    carried = CARRIED_NATS * float(refined.carried.sum())
    return reading.scales[0].standout + PATH_SHARE * reading.path_score + carried - standing


def ratio_prior(machine: Machine | None) -> RatioPrior | None:
    """What a profile's drive says about the scale."""
    if machine is None:
        return None
    motor = machine.motor
    counts = [n for n in (motor.pole_pairs, motor.slots, motor.commutator_bars) if n]
    if machine.drive == "direct" and not counts:
        return None
    once = (1.0, 2.0) if machine.drive == "belt" else ()
    tolerance = machine.drum_to_motor_ratio_tolerance_percent / 100.0
    return RatioPrior(
        ratio=machine.drum_to_motor_ratio,
        tolerance=tolerance + (BELT_CREEP if machine.drive == "belt" else 0.0),
        motor_orders=tuple(sorted({*once, *(float(m * n) for n in counts for m in (1, 2, 3))})),
        counted=bool(counts),
    )


def _read(path: Path, family: Family, heard: Heard) -> Reading | None:
    """Refine a path and weigh the scales it may have; None where too little is heard."""
    known = path.cell >= 0
    if known.sum() < LEAST_HEARD_FRAMES:
        return None
    grid, time_s = heard.listened.maps.grid, heard.listened.maps.time_s[known]
    log_hz = np.log(grid.first_hz) + grid.step * path.cell[known]
    if heard.listened.first_order_felt:
        refined = _felt(time_s, log_hz, heard)
    elif len(family.offsets):
        orders = np.exp(family.offsets * grid.step)
        refined = refine(
            heard.listened.bands,
            heard.listened.start_s,
            time_s,
            log_hz,
            orders,
            steady_hz=heard.listened.maps.steady_hz,
        )
    else:
        refined = _unrefined(time_s, log_hz)
    beats, low = _drum_voices(refined, heard)
    scan = scan_scales(
        refined,
        beats,
        low,
        range_hz=heard.top_range_hz,
        prior=heard.prior,
        first_order_felt=heard.listened.first_order_felt,
        programme_rpm=heard.programme_rpm,
    )
    scales = candidates(scan)
    if not heard.listened.first_order_felt and refined.carried.mean() < LEAST_CARRIED:
        scales = tuple(
            replace(
                c,
                standout=c.standout - SELECTION_NATS,
                measured_standout=c.measured_standout - SELECTION_NATS,
            )
            for c in scales
        )
    return Reading(refined=refined, scales=scales, path_score=path.score)


def _drum_voices(refined: Refined, heard: Heard) -> tuple[tuple[Beats, ...], Followed | None]:
    """Beats and low tones along a course, in which the drum's own rate is looked for."""
    envelopes = heard.listened.envelopes
    if envelopes is None:
        return (), None
    course = refined.course
    beats = tuple(
        follow_beats(envelopes, course, _window_times(refined, window_s / 4), window_s=window_s)
        for window_s in WINDOWS_S
    )
    band = heard.listened.bands[0]
    (low,) = follow(
        band.signal[None],
        band.rate_hz,
        heard.listened.start_s,
        course,
        _window_times(refined, BEAT_HOP_S),
        frame_s=LOW_FRAME_S,
        highest_hz=LOW_HIGHEST_HZ,
        floor_width_hz=LOW_FLOOR_HZ,
    )
    steady = standing(
        low.bin_hz * np.arange(low.ratio.shape[1], dtype=float), heard.listened.maps.steady_hz
    )
    low.ratio[:, steady] = 1.0
    return beats, low


def _window_times(refined: Refined, hop_s: float) -> NDArray[np.float64]:
    """Centres of the windows in which the drum is looked for.

    Where lines carry most of the path, those stretches alone: elsewhere the path may have been
    chosen for the very beats that it is to be proved by.
    """
    times = np.arange(refined.time_s[0] + 1, refined.time_s[-1] - 1, hop_s)
    lines = refined.carried
    if not len(times) or lines.mean() < LEAST_CARRIED:
        return times
    return times[np.interp(times, refined.time_s, lines.astype(float)) > 0.5]


def _again(reading: Reading, heard: Heard) -> Reading | None:
    """Track anew on the drum's own grid with the orders just measured."""
    orders = reading.refined.orders / reading.scales[0].factor
    strength = reading.refined.strength
    use = strength > LEAST_STRENGTH
    family = Family(
        offsets=np.round(np.log(orders[use]) / heard.listened.maps.grid.step).astype(np.int64),
        shares=np.clip(strength[use] / 6.0, 0.1, 0.95),
    )
    maps, refined = heard.listened.maps, reading.refined
    frames = np.flatnonzero(np.isin(maps.time_s, refined.time_s[refined.carried]))
    drum = refined.log_hz[refined.carried] + np.log(reading.scales[0].factor)
    cells = np.round((drum - np.log(maps.grid.first_hz)) / maps.grid.step).astype(np.int64)
    path = track_drum(family, heard.evidence, (frames, cells))
    learned = learn(path, heard.listened.maps) if (path.cell >= 0).any() else family
    return _read(path, learned if len(learned.offsets) else family, heard)


def _felt(time_s: NDArray[np.float64], log_hz: NDArray[np.float64], heard: Heard) -> Refined:
    """Refine a felt first order by its phase; by its spectrum where the phase is not coherent."""
    from scipy.ndimage import median_filter, uniform_filter1d

    band, start_s = heard.listened.bands[0], heard.listened.start_s
    # a strong line is broad on the grid, and the coarse path wanders over its width
    smooth = median_filter(log_hz, FELT_FRAMES)
    run = run_numbers(time_s, smooth, leap=FELT_LEAP)
    for number in np.unique(run):
        part = run == number
        smooth[part] = uniform_filter1d(smooth[part], FELT_FRAMES, mode="nearest")
    sigma = np.full(len(time_s), np.nan)
    for rest_rate_hz in REST_RATES_HZ:
        course = course_of(time_s, smooth)
        correction, sigma = phase_correction(
            band.signal, band.rate_hz, start_s, course, time_s, rest_rate_hz=rest_rate_hz
        )
        smooth = smooth + np.nan_to_num(correction)
    refined = refine(
        heard.listened.bands,
        start_s,
        time_s,
        smooth,
        FELT_ORDERS,
        steady_hz=heard.listened.maps.steady_hz,
        reach=FELT_REACH,
        step=FELT_STEP,
        fixed_orders=True,
    )
    sound = np.isfinite(sigma)
    return replace(
        refined,
        log_hz=np.where(sound, smooth, refined.log_hz),
        sigma=np.where(sound, sigma, refined.sigma),
    )


def _unrefined(time_s: NDArray[np.float64], log_hz: NDArray[np.float64]) -> Refined:
    """A path without lines of its own: beats alone will correct it."""
    none = np.zeros(0)
    return Refined(
        time_s=time_s,
        log_hz=log_hz,
        sigma=np.full(len(time_s), 0.004),
        gain=np.zeros(len(time_s)),
        heard=np.zeros(len(time_s), np.int64),
        orders=none,
        order_sigma=none,
        strength=none,
    )


def _finish(reading: Reading, heard: Heard) -> SpeedTrack:
    """Lock the best reading to the drum and write the track down."""
    refined, factor = reading.refined, reading.scales[0].factor
    if heard.listened.first_order_felt:
        scales = felt_exactly(refined, reading.scales)
        return write_down(refined, scales, felt_lock(refined), heard.listened.maps, felt=True)
    course = course_of(refined.time_s, refined.log_hz + np.log(factor))
    lock = lock_to_drum(
        heard.listened.bands[0],
        heard.listened.envelopes,
        heard.listened.start_s,
        course,
        np.arange(refined.time_s[0], refined.time_s[-1], LOCK_HOP_S),
        whole_orders=np.union1d(whole_orders(refined, factor), np.arange(1.0, 9.0)),
        beat_orders=(1.0, 2.0),
        steady_hz=heard.listened.maps.steady_hz,
        creep_sigma=heard.creep_sigma,
    )
    track = write_down(refined, reading.scales, lock, heard.listened.maps)
    if track.reason:
        return track
    return replace(track, motor_ratio=measured_ratio(refined, reading.scales[0], heard.prior))


def felt_exactly(refined: Refined, scales: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
    """The best reading at the very order of the line that is felt, which is the drum's first."""
    line = float(refined.orders[np.argmax(refined.strength)])
    if not abs(np.log(line / scales[0].factor)) < FELT_WITHIN:
        return scales
    return (replace(scales[0], factor=line, sigma=0.0), *scales[1:])


def whole_orders(refined: Refined, factor: float) -> NDArray[np.float64]:
    """The drum's whole orders, up to 20, among the lines that were measured."""
    orders = refined.orders / factor
    whole = np.round(orders)
    near = np.abs(orders / np.maximum(whole, 1) - 1) < WHOLE_REACH
    return np.unique(whole[near & (whole >= 1) & (whole <= 20)])
