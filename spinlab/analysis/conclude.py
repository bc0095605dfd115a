"""From measurements to findings: every room of `findings` asked in turn."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from spinlab.analysis.measure import Measured
from spinlab.analysis.work import Work
from spinlab.finding import Finding, FindingKind
from spinlab.findings import (
    belt,
    imbalance,
    looseness,
    motor,
    oscillation,
    programme,
    stage,
    supply,
    suspension,
)
from spinlab.findings.bearing import bearing_findings
from spinlab.findings.indicated import on_indicated
from spinlab.findings.reconcile import reconcile
from spinlab.machine.value import Machine
from spinlab.meter import Reading
from spinlab.phrase import sentence
from spinlab.quality.value import Quality
from spinlab.speed.track import SpeedTrack
from spinlab.stages import StageTable


def conclude(
    work: Work,
    measured: Measured,
    machine: Machine | None,
    quality: Quality,
    track: SpeedTrack,
    stages: StageTable,
    readings: tuple[Reading, ...],
) -> tuple[Finding, ...]:
    """Every finding, those that explain the same evidence made each other's rivals."""
    found: list[Finding] = []

    def add(kind: FindingKind, make: Callable[[], Sequence[Finding]]) -> None:
        made = work.attempt(f"Findings: {kind}", make)
        found.extend(made if made is not None else (_defect(kind),))

    add("stage", lambda: stage.findings(stages, track, machine))
    add("bearing", lambda: _bearing_findings(measured, quality))
    if measured.vibration is None:
        found.append(_defect("imbalance"))
    else:
        add("imbalance", lambda: _shaking_findings(measured, stages, quality))
    drive, motion = measured.drive, measured.phases.motion if measured.phases else None
    if drive is None:
        found.append(_defect("motor"))
    else:
        add("belt", lambda: belt.findings(drive))
        add(
            "motor",
            lambda: motor.findings(drive, machine, coasts=measured.coast_downs, motion=motion),
        )
    add("supply", lambda: supply.findings(readings, machine))
    add("stage", lambda: programme.findings(measured.phases, track))
    return reconcile(found)


def _bearing_findings(measured: Measured, quality: Quality) -> tuple[Finding, ...]:
    found = [_not_looked_for(remark) for remark in measured.bearing_remarks]
    if measured.bearings is not None:
        found.extend(bearing_findings(measured.bearings, kind=quality.kind))
    elif not found:
        found.append(_defect("bearing"))
    return on_indicated(found, measured.bearing_course)


def _not_looked_for(remark: str) -> Finding:
    return Finding(
        kind="bearing",
        subject="a listed bearing",
        state="not measurable",
        reason=sentence(remark),
        next_step="Put the bearing's geometry, and the motor's exact ratio, into the profile.",
    )


def _shaking_findings(
    measured: Measured, stages: StageTable, quality: Quality
) -> tuple[Finding, ...]:
    vibration = measured.vibration
    assert vibration is not None
    return (
        *imbalance.findings(vibration, quality),
        *oscillation.findings(vibration, stages, quality),
        *suspension.findings(vibration, stages),
        *looseness.findings(vibration),
    )


def _defect(kind: FindingKind) -> Finding:
    return Finding(
        kind=kind,
        subject=kind,
        state="not measurable",
        reason="This step failed by a defect of spinlab's own; the rest of the result stands.",
        next_step="Report the message that was printed, with the file if it may be shared.",
    )
