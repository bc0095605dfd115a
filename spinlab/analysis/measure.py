"""The steps after the stages: belt and motor, vibration, bearings, coast-down, phases."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spinlab.analysis.work import Work
from spinlab.bearings import BearingEvidence, Mounted, detect, mounted
from spinlab.bearings.asked import course_at_asked_speeds
from spinlab.bearings.catalogue import load
from spinlab.coastdown import CoastDown, coast_downs
from spinlab.drive.measure import Drive, belt_order
from spinlab.drive.measure import measure as measure_drive
from spinlab.errors import InputError
from spinlab.machine.value import Machine
from spinlab.phases import Correction, PhaseList, corrected, cut_phases
from spinlab.quality.value import Quality
from spinlab.recording import Recording
from spinlab.speed.motion import classify
from spinlab.speed.track import IndicatedCourse, SpeedTrack
from spinlab.vibration.loudness import Loudness, loudness
from spinlab.vibration.measure import Vibration
from spinlab.vibration.measure import measure as measure_vibration

# Frames of a track that was never made, because the recording holds nothing.
_EMPTY_HOP_S = 0.3


@dataclass(frozen=True, kw_only=True, eq=False)
class Measured:
    """What the steps after the stages measured; None where a step failed.

    `bearing_course` is the course along which bearings were looked for where the track knows no
    speed; None where it does, or where there is none.
    """

    drive: Drive | None
    vibration: Vibration | None
    bearings: BearingEvidence | None
    bearing_remarks: tuple[str, ...]
    bearing_course: IndicatedCourse | None
    coast_downs: tuple[CoastDown, ...]
    phases: PhaseList | None


def unknown_track(recording: Recording, reason: str) -> SpeedTrack:
    """A track that knows nothing, over the whole of a recording, and why."""
    count = max(1, int(recording.duration_s / _EMPTY_HOP_S))
    nothing = np.full(count, np.nan)
    return SpeedTrack(
        time_s=np.asarray(recording.start_s + (np.arange(count) + 0.5) * _EMPTY_HOP_S),
        speed_rpm=nothing,
        standard_uncertainty_rpm=nothing.copy(),
        confidence=np.zeros(count),
        motion=np.full(count, "unknown"),
        carried_by=np.full(count, ""),
        scale="relative",
        reason=reason,
    )


def measure(
    work: Work,
    recording: Recording,
    machine: Machine | None,
    quality: Quality,
    track: SpeedTrack,
    corrections: Sequence[Correction] = (),
) -> Measured:
    """The steps that need the speed in rpm; a relative track serves them as none at all."""
    absolute = track
    if track.scale == "relative":
        absolute = unknown_track(recording, track.reason)
    band = quality.usable_band_hz
    powers = work.attempt("Sound power", lambda: _powers(recording))
    drive = work.attempt(
        "Reading belt and motor",
        lambda: measure_drive(recording, absolute, machine, usable_band_hz=band),
    )
    absolute = with_ratio(absolute, drive)
    ratio = absolute.motor_ratio.value if absolute.motor_ratio is not None else None
    vibration = work.attempt(
        "Measuring the shaking",
        lambda: measure_vibration(
            recording,
            absolute,
            sound=powers,
            belt_order=belt_order(machine),
            motor_ratio=ratio,
        ),
    )
    course = _bearing_course(work, recording, machine, quality, track)
    turning = absolute if course is None else on_course(track, course)
    bearings = work.attempt(
        "Looking for bearing damage",
        lambda: _bearings(recording, turning, machine, quality, course),
    )
    inertia = machine.drum_inertia_kg_m2 if machine is not None else None
    coasts = work.attempt("Coast-down", lambda: coast_downs(absolute, inertia_kg_m2=inertia))
    phases = work.attempt("Cutting phases", lambda: cut_phases(recording, absolute, sound=powers))
    phases = phases if phases is None else corrected(phases, corrections)
    evidence, remarks = bearings if bearings is not None else (None, ())
    return Measured(
        drive=drive,
        vibration=vibration,
        bearings=evidence,
        bearing_remarks=remarks,
        bearing_course=course,
        coast_downs=coasts or (),
        phases=phases,
    )


def _bearing_course(
    work: Work,
    recording: Recording,
    machine: Machine | None,
    quality: Quality,
    track: SpeedTrack,
) -> IndicatedCourse | None:
    """The likeliest course that bearings can be looked for along where the track knows no speed."""
    if track.scale != "relative" or machine is None or not quality.usable:
        return track.indicated
    told = work.attempt(
        "Listening for blows at the speeds asked for",
        lambda: _course_of_blows(recording, track, machine, quality),
    )
    if told is None or (track.indicated is not None and track.indicated.weight >= told.weight):
        return track.indicated
    return told


def _course_of_blows(
    recording: Recording, track: SpeedTrack, machine: Machine, quality: Quality
) -> IndicatedCourse | None:
    """The course that a damaged bearing's blows tell at the speeds asked for."""
    if recording.kind != "sound" or not machine.bearings:
        return None
    try:
        known = mounted(machine, track)
    except InputError:
        return None  # the search for damage says what is wrong with the profile
    return course_at_asked_speeds(
        recording,
        known.bearings,
        [plateau.rpm for plateau in machine.programme],
        usable_band_hz=quality.usable_band_hz,
        mains_hz=_stated_mains_hz(machine),
    )


def _stated_mains_hz(machine: Machine | None) -> float | None:
    return float(machine.mains_hz) if machine is not None and machine.mains_hz else None


# Frames of an indicated course in which no line was heard are bridged up to this far from one, s.
LONGEST_HOLE_S = 1.0


def on_course(track: SpeedTrack, course: IndicatedCourse) -> SpeedTrack:
    """A track without rpm on a course that is only indicated, uncertain as that is.

    The orders of a bearing's parts lie several percent apart, the scale is known to one: enough to
    name a race, though not to measure a speed.
    """
    log_rpm = np.interp(track.time_s, course.time_s, np.log(course.speed_rpm))
    # the course's frame at or after each of the track's, and the one before
    after = np.clip(np.searchsorted(course.time_s, track.time_s), 0, len(course.time_s) - 1)
    beside = course.time_s[np.stack([np.maximum(after - 1, 0), after])]
    apart_s = np.abs(beside - track.time_s).min(axis=0)
    speed = np.where(apart_s <= LONGEST_HOLE_S, np.exp(log_rpm), np.nan)
    return replace(
        track,
        speed_rpm=speed,
        standard_uncertainty_rpm=course.scale_sigma * speed,
        # Its shape is far surer than its scale, which all frames share: levels stand by themselves.
        motion=classify(track.time_s, speed, np.zeros(len(speed))),
        scale="absolute",
        shared_uncertainty=course.scale_sigma,
        reason="",
    )


def _powers(recording: Recording) -> Loudness | None:
    if recording.kind != "sound":
        return None
    return loudness(recording)


def with_ratio(track: SpeedTrack, drive: Drive | None) -> SpeedTrack:
    """A track that also knows the motor's ratio, where belt and motor told it."""
    ratio = drive.ratio.ratio if drive is not None and drive.ratio is not None else None
    if track.motor_ratio is not None or ratio is None or track.scale == "relative":
        return track
    return replace(track, motor_ratio=ratio)


def _bearings(
    recording: Recording,
    track: SpeedTrack,
    machine: Machine | None,
    quality: Quality,
    course: IndicatedCourse | None,
) -> tuple[BearingEvidence | None, tuple[str, ...]]:
    """The search, and which bearings could not be looked for.

    Along a course that blows of the listed bearings told nothing else may be read.
    """
    known = Mounted(bearings=(), competitors=())
    if machine is not None:
        try:
            known = mounted(machine, track)
        except InputError as problem:
            return None, (str(problem),)
    evidence = detect(
        recording,
        track,
        known.bearings,
        competitors=known.competitors,
        belt_known=known.belt_known,
        usable_band_hz=quality.usable_band_hz,
        mains_hz=_stated_mains_hz(machine),
        catalogue=load(),
        courses=1.0 if course is None else course.courses,
        listed_only=course is not None and bool(course.asked_rpm),
    )
    return evidence, known.remarks
