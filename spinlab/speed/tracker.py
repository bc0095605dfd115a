"""The tracker: recording -> speed track, one step after the other.

    tone bands, envelopes -> maps -> acquire -> refine -> scale -> lock to the drum -> track

Each step's own module explains it; this one only orders them and says what could not be told.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.acquire import Acquired, Known, acquire, along_the_drum
from spinlab.speed.candidates import LEAST_WEIGHT, Candidate
from spinlab.speed.drive_prior import ratio_prior
from spinlab.speed.drumlock import (
    BELT_CREEP_SIGMA,
    LOCK_HOP_S,
    RIGID_SIGMA,
    Lock,
    felt_lock,
    lock_to_drum,
)
from spinlab.speed.follow import course_of
from spinlab.speed.indicate import indicated_course, indications
from spinlab.speed.listen import listen
from spinlab.speed.multiples import at_multiples
from spinlab.speed.ratio import measured_ratio
from spinlab.speed.reasons import NOTHING_MOVES, TOO_FAINT
from spinlab.speed.refine import Refined
from spinlab.speed.runs import run_numbers
from spinlab.speed.steady import steady_track
from spinlab.speed.track import SpeedTrack
from spinlab.speed.voices import gather
from spinlab.speed.weigh import Heard, Reading, again, merit, read
from spinlab.speed.whole import BELOW_MOTOR_ORDER
from spinlab.speed.write import nothing, write_down
from spinlab.speed.zoom import zoom

if TYPE_CHECKING:
    from spinlab.machine import Machine

Progress = Callable[[str, float], None]

LOWEST_GRID_HZ = 0.5
SLOWEST_TOP_SHARE = 6.0
LIKELY_WEIGHT = 0.8
LIKELY_NATS = 6.0
# A reading that holds so much of the likelihood, and stands out by so many nats, is decided.
DECIDED_WEIGHT = 0.999
DECIDED_NATS = 15.0
# A line this close to a whole order is the drum's; motor lines can lie half a percent beside one.
WHOLE_REACH = 0.002
# A felt line this close (ln) to the best reading is the first order itself.
FELT_WITHIN = 0.004


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
    )
    known = Known()
    found = acquire(evidence, known)
    tell("finding the drum", 0.6)
    readings = _read_until_decided(found, heard)
    if not any(map(_decided, readings)) and not listened.first_order_felt:
        readings += _read_until_decided(along_the_drum(evidence, found, known), heard)
    if not readings:
        return steady_track(recording, maps, rpm_range=rpm_range) or nothing(maps, NOTHING_MOVES)
    best = max(readings, key=merit)
    tell("following the drum", 0.8)
    # tracking on the grid of a doubtful scale would make up the evidence for it
    if best.scales[0].weight > LIKELY_WEIGHT and best.scales[0].measured_standout > LIKELY_NATS:
        second = again(best, heard)
        if second is not None and merit(second) > merit(best) and _as_sure(second, best):
            best = second
    track = _finish(best, heard)
    steady = steady_track(recording, maps, rpm_range=rpm_range) if track.reason else None
    if steady or listened.first_order_felt:
        return steady or track
    faint = track.reason and track.indications
    return replace(track, reason=TOO_FAINT) if faint else track


def _read_until_decided(found: Sequence[Acquired], heard: Heard) -> list[Reading]:
    """Readings of paths one by one, until one is decided."""
    readings: list[Reading] = []
    for one in found:
        reading = read(one.path, one.family, heard)
        if reading is not None:
            readings.append(reading)
            if _decided(reading):
                break
    return readings


def _decided(reading: Reading) -> bool:
    """Whether the drum's own turns fit one reading so well that no other path needs a look."""
    best = reading.scales[0]
    return best.weight > DECIDED_WEIGHT and best.measured_standout > DECIDED_NATS


def _as_sure(second: Reading, first: Reading) -> bool:
    """Whether a second look leaves the scale decided where the first had decided it."""
    return second.scales[0].weight >= min(first.scales[0].weight, LEAST_WEIGHT)


def _finish(reading: Reading, heard: Heard) -> SpeedTrack:
    """Lock the best reading to the drum and write the track down."""
    refined, best = reading.refined, reading.scales[0]
    factor = best.factor
    if heard.listened.first_order_felt:
        scales = felt_exactly(refined, reading.scales)
        return write_down(refined, scales, felt_lock(refined), heard.listened.maps, felt=True)
    orders = np.union1d(whole_orders(refined, factor, belt=heard.belt), np.arange(1.0, 8.0))
    lock = _lock(refined, best, orders, heard)
    moved = at_multiples(refined, lock)
    if moved is not None:
        refined, lock = moved, _lock(moved, best, orders, heard)
    plateaus = zoom(
        heard.listened.bands,
        heard.listened.start_s,
        refined.time_s,
        refined.log_hz + np.log(factor) + np.interp(refined.time_s, lock.time_s, lock.correction),
        run_numbers(refined.time_s, refined.log_hz),
        orders,
        steady_hz=heard.listened.maps.steady_hz,
    )
    scales = (replace(best, sigma=lock.scale_sigma), *reading.scales[1:])
    track = write_down(
        refined,
        scales,
        lock,
        heard.listened.maps,
        plateaus=plateaus,
        rigid=heard.rigid,
        programme_rpm=heard.programme_rpm,
    )
    course = indicated_course(refined, reading.scales)
    shown = () if course is None else indications(course)
    if track.reason:
        return replace(track, indications=shown, indicated=course)
    return replace(
        track,
        indications=shown,
        motor_ratio=measured_ratio(refined, best.factor, best.sigma, heard.prior),
    )


def _lock(refined: Refined, scale: Candidate, orders: NDArray[np.float64], heard: Heard) -> Lock:
    """A course locked to the drum by its beats and by some of its whole orders."""
    return lock_to_drum(
        heard.listened.bands[0],
        heard.listened.envelopes,
        heard.listened.start_s,
        course_of(refined.time_s, refined.log_hz + np.log(scale.factor)),
        np.arange(refined.time_s[0], refined.time_s[-1], LOCK_HOP_S),
        whole_orders=orders,
        beat_orders=(1.0, 2.0),
        steady_hz=heard.listened.maps.steady_hz,
        highest_hz=heard.top_range_hz[1],
        scale_sigma=scale.sigma,
        creep_sigma=RIGID_SIGMA if heard.rigid else BELT_CREEP_SIGMA,
    )


def felt_exactly(refined: Refined, scales: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
    """The best reading at the very order of the line that is felt, which is the drum's first."""
    line = float(refined.orders[np.argmax(refined.strength)])
    if not abs(np.log(line / scales[0].factor)) < FELT_WITHIN:
        return scales
    return (replace(scales[0], factor=line, sigma=0.0), *scales[1:])


def whole_orders(refined: Refined, factor: float, *, belt: bool) -> NDArray[np.float64]:
    """The drum's whole orders, up to 20 or the belt's ratio, among the lines measured."""
    orders = refined.orders / factor
    whole = np.round(orders)
    near = np.abs(orders / np.maximum(whole, 1) - 1) < WHOLE_REACH
    highest = BELOW_MOTOR_ORDER if belt else 20.0
    return np.unique(whole[near & (whole >= 1) & (whole <= highest)])
