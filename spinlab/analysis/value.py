"""Everything that one recording told, as a frozen value."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from spinlab.finding import Finding, Verdict
from spinlab.machine.value import Machine
from spinlab.quality.value import Quality
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from spinlab.stages import StageTable

if TYPE_CHECKING:
    from spinlab.bearings import BearingEvidence
    from spinlab.coastdown import CoastDown
    from spinlab.drive.measure import Drive
    from spinlab.meter import Reading
    from spinlab.phases import PhaseList
    from spinlab.vibration.measure import Vibration


@dataclass(frozen=True, kw_only=True)
class Failure:
    """A step that failed by a defect of our own: its name and the error."""

    step: str
    error: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Analysis:
    """Everything that one recording told.

    Attributes:
        recording: what was analysed.
        quality: what it is good for.
        machine: the unit under test, if a profile was given.
        track: the drum's speed over time.
        stages: the speed held against the programme.
        findings: every checked statement.
        verdict: the sentence that stands first.
        drive: belt and motor as measured; None where the step failed.
        vibration: what shakes; None where the step failed.
        bearings: the search for bearing damage; None where it failed or could not begin.
        coast_downs: every coast-down, fitted.
        phases: a whole service test cut into its phases; None where the step failed.
        readings: the technician's meter readings.
        failures: steps that failed by a defect of our own; empty as it should be.
        seconds: name and duration of each step.
    """

    recording: Recording
    quality: Quality
    machine: Machine | None
    track: SpeedTrack
    stages: StageTable
    findings: tuple[Finding, ...]
    verdict: Verdict
    drive: Drive | None = None
    vibration: Vibration | None = None
    bearings: BearingEvidence | None = None
    coast_downs: tuple[CoastDown, ...] = ()
    phases: PhaseList | None = None
    readings: tuple[Reading, ...] = ()
    failures: tuple[Failure, ...] = ()
    seconds: tuple[tuple[str, float], ...] = ()

    def to_json(self) -> str:
        """The result as JSON text: format "spinlab.result", version 1."""
        from spinlab.result import result

        return json.dumps(result(self), ensure_ascii=False, allow_nan=False)
