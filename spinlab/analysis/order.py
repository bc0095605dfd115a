"""The analysis: the one place that orders the steps, from a recording to the verdict.

    quality -> speed track -> stages -> belt and motor, vibration, bearings, coast-down, phases
            -> findings -> verdict

The speed comes first because everything after it is told by what moves with the drum.  A step
after the stages that fails by a defect of our own is named in the result and leaves the others
standing; it warns with `DefectWarning`, which tests turn into an error.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from spinlab.analysis.value import Analysis
from spinlab.analysis.work import Progress, Work
from spinlab.machine.value import Machine
from spinlab.quality.value import Quality
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack

if TYPE_CHECKING:
    from spinlab.meter import Reading
    from spinlab.phases import Correction


TRACKING = "Tracking the speed"


def analyse(
    recording: Recording,
    machine: Machine | None = None,
    *,
    progress: Progress | None = None,
    readings: Sequence[Reading] = (),
    corrections: Sequence[Correction] = (),
) -> Analysis:
    """Analyse one recording of a spin test, or of a whole service test.

    Args:
        recording: sound or an acceleration log.
        machine: the profile of the unit under test; without it speed and plateaus are measured but
            not judged.
        progress: told the step under way and the share of it that is done, 0 to 1.
        readings: the technician's meter readings.
        corrections: phases of a service test that the user knows better.

    Returns:
        The whole result.  What could not be measured says why.

    Warns:
        DefectWarning: a step failed by a defect of our own.
    """
    from spinlab.analysis.conclude import conclude
    from spinlab.analysis.measure import measure, with_ratio
    from spinlab.findings.verdict import verdict
    from spinlab.quality import assess
    from spinlab.stages import stage_table

    work = Work(progress)
    quality = work.run("Judging the recording", lambda: assess(recording))
    track = work.run(TRACKING, lambda: _track(recording, machine, quality, progress))
    log_rate_hz = recording.rate_hz if recording.kind == "acceleration" else None
    stages = work.run("Stages", lambda: stage_table(track, machine, log_rate_hz=log_rate_hz))
    measured = measure(work, recording, machine, quality, track, corrections)
    track = with_ratio(track, measured.drive)
    findings = work.run(
        "Drawing conclusions",
        lambda: conclude(work, measured, machine, quality, track, stages, tuple(readings)),
    )
    return Analysis(
        recording=recording,
        quality=quality,
        machine=machine,
        track=track,
        stages=stages,
        findings=findings,
        verdict=verdict(stages, findings, track, quality),
        drive=measured.drive,
        vibration=measured.vibration,
        bearings=measured.bearings,
        coast_downs=measured.coast_downs,
        phases=measured.phases,
        readings=tuple(readings),
        failures=tuple(work.failures),
        seconds=tuple(work.seconds),
    )


def _track(
    recording: Recording, machine: Machine | None, quality: Quality, progress: Progress | None
) -> SpeedTrack:
    if not quality.usable:
        from spinlab.analysis.measure import unknown_track

        return unknown_track(recording, quality.reason)
    from spinlab.speed import track_speed

    # The tracker has steps of its own; to a reader it is one.
    tell = None if progress is None else lambda _step, share: progress(TRACKING, share)
    return track_speed(recording, machine, progress=tell)
