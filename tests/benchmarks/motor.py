"""Motor findings against simulated units.

    python -m tests.benchmarks.motor [--units N] [--seed N]

Each table's first row is healthy: what is flagged there is a false alarm.  The speed sensor is
judged on the true speed, known from a log's or a sound's slowest speed up.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spinlab.coastdown import coast_downs
from spinlab.drive.measure import measure
from spinlab.drive.surges import surges
from spinlab.finding import Finding
from spinlab.findings import motor
from spinlab.findings.tachometer import tachometer_findings
from spinlab.simulate import Parameters, random_parameters, simulate, spin_test
from spinlab.simulate.dynamics import Motion
from spinlab.simulate.parameters import Step
from spinlab.simulate.tachometer import run
from spinlab.speed.track import SpeedTrack
from tests.benchmarks.belt import by_subject
from tests.benchmarks.profiles import programme_of
from tests.benchmarks.simulated import (
    FRAME_S,
    Row,
    arguments,
    machine_of,
    print_table,
    true_track,
)

INVERTER = (
    ("healthy", {}),
    ("lost phase 0.3", {"lost_phase": 0.3}),
    ("lost phase 0.6", {"lost_phase": 0.6}),
    ("lost phase 1.0", {"lost_phase": 1.0}),
    ("position sensor 0.3", {"hall_error": 0.3}),
    ("position sensor 0.6", {"hall_error": 0.6}),
    ("position sensor 1.0", {"hall_error": 1.0}),
)
BRUSHED = (
    ("healthy", {}),
    ("arcing 0.3", {"arcing": 0.3}),
    ("arcing 0.6", {"arcing": 0.6}),
    ("arcing 1.0", {"arcing": 1.0}),
)
SENSOR = (
    ("healthy", 0.0),
    ("sensor fails at 0.9 of top speed", 0.1),
    ("sensor fails at 0.5 of top speed", 0.5),
    ("sensor never gives a pulse", 1.0),
)
GIVEN_UP_RPM = (380.0, 650.0)
SLOWEST_RPM = {"log": 60.0, "sound": 200.0}


def unit(seed: int, kind: str, changes: dict[str, float], *, rate_hz: int) -> Parameters:
    """One machine of a motor kind with a fault."""
    p = random_parameters(np.random.default_rng(seed), drive=kind, rate_hz=rate_hz, snr_db=12.0)
    programme = spin_test((800.0, 1200.0, 1400.0), hold_s=5.0, rise_rpm_per_s=150.0, coast_s=12.0)
    return replace(p, programme=programme, drive=replace(p.drive, **changes))


def main() -> None:
    """Print the tables."""
    options = arguments(8)
    seeds = range(options.seed, options.seed + options.units)
    print_table("Brush arcing", [arcing_row(label, changes, seeds) for label, changes in BRUSHED])
    by_source = sensor_rows(seeds)
    for source, rows in by_source.items():
        print_table(f"Speed sensor of brushed motors, speed known as from a {source}", rows)
    inverter_tables(seeds)


def judged(p: Parameters, seed: int) -> tuple[tuple[Finding, ...], SpeedTrack]:
    """The motor findings of one unit on its true speed, and that."""
    simulated, machine = simulate(p, seed), machine_of(p)
    track = true_track(simulated, slowest_rpm=60.0, error_percent=0.02)
    return motor.findings(measure(simulated.recording, track, machine), machine), track


def arcing_row(label: str, changes: dict[str, float], seeds: range) -> Row:
    """Brushed units of one severity."""
    row = Row(label)
    for seed in seeds:
        said, _ = judged(unit(seed, "brushed", changes, rate_hz=48000), seed)
        row.add(by_subject(said, "brush arcing"))
    return row


def inverter_tables(seeds: range) -> None:
    """Lost phase and position sensor of belt and direct drives, and every coast-down's drag."""
    phase, sensor, drag = [], [], Row("all units")
    for label, changes in INVERTER:
        rows = [Row(label), Row(label)]
        for seed in seeds:
            p = unit(seed, "direct" if seed % 3 == 0 else "three_phase", changes, rate_hz=16000)
            said, track = judged(p, seed)
            nothing = by_subject(said, "motor's own") or by_subject(said, "lost phase or")
            rows[0].add(by_subject(said, "lost phase") or nothing)
            rows[1].add(by_subject(said, "position sensor") or nothing)
            for coast in coast_downs(track, inertia_kg_m2=p.drum.inertia_kg_m2):
                if coast.torque_nm is not None and coast.reference_rpm is not None:
                    drag.compare(coast.torque_nm, true_drag(p, coast.reference_rpm))
        phase.append(rows[0])
        sensor.append(rows[1])
    print_table("Lost phase", phase)
    print_table("Position sensor", sensor)
    print_table("Drag torque from coast-down (inertia known)", [drag])


def sensor_rows(seeds: range) -> dict[str, list[Row]]:
    """Surges of units whose tachometer fails, and of sound ones that give up ramps."""
    tables: dict[str, list[Row]] = {source: [] for source in SLOWEST_RPM}
    cases: list[tuple[str, float, float | None]] = [(*case, None) for case in SENSOR]
    cases += [(f"sound, two ramps given up at {rpm:.0f}", 0.0, rpm) for rpm in GIVEN_UP_RPM]
    for label, loss, given_up_rpm in cases:
        rows = {source: Row(label) for source in SLOWEST_RPM}
        for seed in seeds:
            p = unit(seed, "brushed", {"tachometer_loss": loss}, rate_hz=8000)
            if given_up_rpm is not None:
                tries = (*p.programme[:2], Step(kind="abandon", rpm=given_up_rpm)) * 2
                p = replace(p, programme=(*tries, *p.programme[1:]))
            _, motion = run(p, seed)
            machine = replace(machine_of(p), programme=programme_of(p))
            for source, slowest_rpm in SLOWEST_RPM.items():
                said = tachometer_findings(surges(track_of(motion, slowest_rpm)), machine)
                rows[source].add(said[0] if said else None)
        for source, row in rows.items():
            tables[source].append(row)
    return tables


def track_of(motion: Motion, slowest_rpm: float) -> SpeedTrack:
    """The drum's true speed on frames of 0.1 s, unknown below `slowest_rpm`."""
    time = np.arange(0.0, motion.time_s[-1], FRAME_S)
    speed = np.interp(time, motion.time_s, 60.0 * np.abs(motion.rate_hz))
    known = np.where(speed < 5.0, 0.0, np.where(speed < slowest_rpm, np.nan, speed))
    return SpeedTrack(
        time_s=time,
        speed_rpm=known,
        standard_uncertainty_rpm=np.full(len(time), 0.5),
        confidence=np.ones(len(time)),
        motion=np.full(len(time), "unknown"),
        carried_by=np.full(len(time), "truth"),
    )


def true_drag(p: Parameters, speed_rpm: float) -> float:
    """Friction and windage torque that the simulation applies at a speed, N m."""
    w = 2.0 * np.pi * speed_rpm / 60.0
    drum = p.drum
    return float(drum.seal_friction_nm + drum.viscous_nm_s * w + drum.windage_nm_s2 * w * w)


if __name__ == "__main__":
    main()
