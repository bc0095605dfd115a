"""What the tables share: tracks from the simulator's truth, profiles, rows and columns.

The track is the truth's, so that a measurement is judged by itself; the speed tracker has tables of
its own.
"""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from scipy.signal import lfilter

from spinlab.finding import Finding
from spinlab.machine.value import Belt, Machine, Motor
from spinlab.reading import read
from spinlab.recording import Recording
from spinlab.simulate import Parameters, Simulated, Truth
from spinlab.speed.track import Estimate, SpeedTrack

FRAME_S = 0.1
# Relative errors of a good track, standard deviations, and what it states of itself: on a demo
# recording the tracker's plateaus were off by 0.02 % as a whole and scattered by 0.04 %.
SCALE_ERROR = 0.0003
WANDER_ERROR = 0.0005
WANDER_S = 0.5
STATED_ERROR = 0.001


def true_track(
    simulated: Simulated, *, error_percent: float = 0.1, slowest_rpm: float = 0.0
) -> SpeedTrack:
    """The drum's true speed on frames of 0.1 s, stated with `error_percent` of uncertainty.

    Below `slowest_rpm` the speed counts as unknown, as it would for a tracker that hears too
    little there.
    """
    truth: Truth = simulated.truth
    time = np.arange(truth.time_s[0], truth.time_s[-1], FRAME_S)
    speed = np.interp(time, truth.time_s, truth.speed_rpm)
    slope = np.gradient(speed, time)
    known = speed >= max(slowest_rpm, 5.0)
    motion = np.where(np.abs(slope) > 8.0, "ramp", "plateau").astype("<U12")
    for stage in truth.stages:
        if stage.start_s is not None and stage.end_s is not None:
            # A speed that hunts is a plateau all the same, however steep its swings.
            motion[(time >= stage.start_s) & (time <= stage.end_s)] = "plateau"
    motion[(speed < 150.0) & known] = "distribution"
    motion[_coasting(speed, slope, time)] = "coasting"
    motion[speed < 5.0] = "rest"
    values = np.where(known, speed, np.where(speed < 5.0, 0.0, np.nan))
    parameters = truth.parameters
    ratio = None
    if parameters.drive.kind != "direct":
        ratio = Estimate(value=truth.motor_ratio, standard_uncertainty=0.0005 * truth.motor_ratio)
    return SpeedTrack(
        time_s=time,
        speed_rpm=values,
        standard_uncertainty_rpm=np.maximum(0.01 * error_percent * speed, 0.2),
        confidence=np.ones(len(time)),
        motion=motion,
        carried_by=np.full(len(time), "truth"),
        motor_ratio=ratio,
        mains_hz=Estimate(value=truth.mains_hz, standard_uncertainty=0.02),
    )


def realistic_track(
    simulated: Simulated, rng: np.random.Generator, *, slowest_rpm: float
) -> SpeedTrack:
    """The true track with the error of a good one, of which it knows the size.

    A scale that is off by `SCALE_ERROR` as a whole, and a wander of `WANDER_ERROR` that keeps for
    about half a second.
    """
    true = true_track(simulated, slowest_rpm=slowest_rpm)
    steps = rng.normal(0.0, WANDER_ERROR, len(true.time_s))
    keep = float(np.exp(-FRAME_S / WANDER_S))
    wander = lfilter([np.sqrt(1.0 - keep**2)], [1.0, -keep], steps)
    speed = true.speed_rpm * (1.0 + rng.normal(0.0, SCALE_ERROR) + wander)
    ratio = true.motor_ratio
    if ratio is not None:
        off = 1.0 + rng.normal(0.0, ratio.standard_uncertainty / ratio.value)
        ratio = replace(ratio, value=ratio.value * off)
    return replace(
        true,
        speed_rpm=speed,
        standard_uncertainty_rpm=np.maximum(STATED_ERROR * true.speed_rpm, 0.2),
        motor_ratio=ratio,
        shared_uncertainty=SCALE_ERROR,
    )


def _coasting(speed: np.ndarray, slope: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Frames after the last fast one, while the speed falls."""
    fast = np.flatnonzero(speed > 300.0)
    after = np.zeros(len(speed), dtype=bool)
    if len(fast):
        top = fast[-1]
        while top > 0 and slope[top] < -3.0:
            top -= 1
        after[top:] = True
    return after & (slope < -3.0) & (time > time[0])


def machine_of(parameters: Parameters, *, tolerance_percent: float = 1.0) -> Machine:
    """The profile that a technician with the service papers would have of a simulated unit."""
    drive = parameters.drive
    kind = {"brushed": "brushed", "three_phase": "three-phase", "direct": "direct"}[drive.kind]
    direct = kind == "direct"
    return Machine(
        name="simulated",
        drive="direct" if direct else "belt",
        drum_to_motor_ratio=drive.ratio,
        drum_to_motor_ratio_tolerance_percent=0.0 if direct else tolerance_percent,
        motor=Motor(
            kind=kind,
            pole_pairs=drive.pole_pairs,
            slots=drive.slots,
            commutator_bars=drive.commutator_bars or None,
        ),
        rated_maximum_rpm=1600.0,
        belt=None
        if direct
        else Belt(
            length_mm=1000.0 * parameters.belt.length_m,
            pulley_diameter_mm=1000.0 * parameters.belt.drum_pulley_m,
        ),
        mains_hz=int(parameters.surroundings.mains_hz),
        drum_inertia_kg_m2=parameters.drum.inertia_kg_m2,
    )


@dataclass
class Row:
    """One line of a table: what is counted over the units of one severity."""

    label: str
    units: int = 0
    flagged: int = 0
    refused: int = 0
    error: list[float] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)

    def add(self, finding: Finding | None) -> None:
        """Count a finding's state."""
        self.units += 1
        if finding is not None:
            self.flagged += finding.state in ("attention", "fault")
            self.refused += finding.state == "not measurable"

    def compare(self, estimate: Estimate, truth: float) -> None:
        """Count an estimate's relative error in percent, and whether its 95 % interval covers."""
        self.error.append(100.0 * (estimate.value / truth - 1.0))
        off = abs(estimate.value - truth)
        self.covered.append(bool(off <= 1.96 * estimate.standard_uncertainty))


def print_table(title: str, rows: Iterable[Row], *, error: str = "error, %") -> None:
    """Print rows in aligned columns; a dash where nothing was counted."""
    print(f"\n{title}")
    header = ("units", "flagged", "refused", "measured", f"median {error}", "95th abs", "covered")
    print(f"{'severity':<34}" + "".join(f"{name:>16}" for name in header))
    for row in rows:
        cells = [str(row.units), _share(row.flagged, row.units), _share(row.refused, row.units)]
        if row.error:
            size = np.abs(row.error)
            cells += [
                str(len(row.error)),
                f"{np.median(row.error):+.2f}",
                f"{np.quantile(size, 0.95):.2f}",
                _share(sum(row.covered), len(row.covered)),
            ]
        else:
            cells += ["-"] * 4
        print(f"{row.label:<34}" + "".join(f"{cell:>16}" for cell in cells))


def _share(part: int, whole: int) -> str:
    return "-" if whole == 0 else f"{100 * part / whole:.0f} %"


def arguments(default_units: int) -> Namespace:
    """--units and --seed, the same for every table."""
    parser = ArgumentParser(description="Units are simulated; nothing here is measured.")
    parser.add_argument("--units", type=int, default=default_units, help="units per severity")
    parser.add_argument("--seed", type=int, default=5000, help="first seed (tuning used 0-999)")
    return parser.parse_args()


def as_read(simulated: Simulated) -> Recording:
    """A simulated log, written as a table and read back as a user's file would be."""
    log = simulated.log
    if log is None:
        return simulated.recording
    with TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        table = np.column_stack([log.stamp_s, log.acceleration_m_s2.T])
        np.savetxt(path, table, delimiter=",", header="time_s,x,y,z", comments="", fmt="%.6f")
        return read(path)
