"""Drive ratio, creep, slip and belt findings against simulated units.

    python -m tests.benchmarks.belt [--units N] [--seed N]

Truth: the simulated motor's and drum's own rates, averaged over each plateau.  A belt that slips
may cry or not; the rows "cries" are the simulator's own fault, the others slip in silence.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from spinlab.drive.measure import measure
from spinlab.finding import Finding
from spinlab.findings import belt
from spinlab.simulate import (
    Parameters,
    Simulated,
    random_parameters,
    simulate,
    spin_test,
    with_fault,
)
from spinlab.simulate.dynamics import Motion, integrate
from spinlab.simulate.programme import command
from tests.benchmarks.simulated import Row, arguments, machine_of, print_table, true_track

CAPACITY_SHARE = (0.8, 0.65, 0.5, 0.35)
DEFECTS = (0.1, 0.5)
CRIES = (0.3, 0.6)


def unit(seed: int) -> Parameters:
    """A belt drive of either motor kind in a moderately noisy room."""
    rng = np.random.default_rng(seed)
    kind = "brushed" if seed % 2 else "three_phase"
    p = random_parameters(rng, drive=kind, rate_hz=16000, snr_db=12.0)
    programme = spin_test(hold_s=5.0, rise_rpm_per_s=150.0, coast_s=3.0)
    return replace(p, programme=programme, phone=replace(p.phone, clock_error_ppm=0.0))


def true_motion(simulated: Simulated) -> Motion:
    """What the unit's drum and motor really did."""
    p = simulated.truth.parameters
    return integrate(p, command(p.programme), simulated.truth.seed)


def true_ratio(motion: Motion, time_s: float) -> float:
    """Mean motor turns per drum turn within a second and a half around a time."""
    near = np.abs(motion.time_s - time_s) < 1.5
    return float(np.mean(motion.motor_rate_hz[near]) / np.mean(motion.rate_hz[near]))


def most_slip_percent(motion: Motion) -> float:
    """The largest lead of the motor over any second of the spin, beyond that at rest."""
    second = round(1.0 / float(motion.time_s[1] - motion.time_s[0]))
    lead = 100.0 * np.where(motion.rate_hz > 5.0, motion.creep, 0.0)
    return float(np.convolve(lead, np.full(second, 1.0 / second), "valid").max())


def by_subject(found: tuple[Finding, ...], subject: str) -> Finding | None:
    """The finding of one subject."""
    return next((f for f in found if f.subject.startswith(subject)), None)


def cases() -> list[tuple[str, Callable[[Parameters], Parameters]]]:
    """What is changed in a unit, with its label."""

    def slack(p: Parameters, share: float) -> Parameters:
        return replace(p, belt=replace(p.belt, capacity_nm=share * p.drive.torque_limit_nm))

    def damaged(p: Parameters, defect: float) -> Parameters:
        return replace(p, belt=replace(p.belt, defect=defect))

    found: list[tuple[str, Callable[[Parameters], Parameters]]] = [("healthy", lambda p: p)]
    for share in CAPACITY_SHARE:
        found.append((f"capacity {share} of torque limit", partial(slack, share=share)))
    for severity in CRIES:
        found.append((f"slips and cries {severity}", partial(cries, severity=severity)))
    for defect in DEFECTS:
        found.append((f"damaged place {defect}", partial(damaged, defect=defect)))
    return found


def cries(p: Parameters, severity: float) -> Parameters:
    """The simulator's own belt slip, with its squeal."""
    return with_fault(p, "belt: slip", severity)


def main() -> None:
    """Print the tables."""
    options = arguments(8)
    ratios, slips, wrong, damage, truths = [], [], [], [], []
    for label, changed in cases():
        rows, slip, missed = [Row(label) for _ in range(4)], [], 0
        for seed in range(options.seed, options.seed + options.units):
            p = changed(unit(seed))
            simulated = simulate(p, seed)
            track = true_track(simulated, slowest_rpm=60.0, error_percent=0.02)
            found = measure(simulated.recording, track, machine_of(p))
            motion = true_motion(simulated)
            slip.append(most_slip_percent(motion))
            missed += not all(stage.reached for stage in simulated.truth.stages)
            if found.ratio is not None:
                for point in found.ratio.plateaus:
                    rows[0].compare(point.ratio, true_ratio(motion, point.time_s))
            said = belt.findings(found)
            rows[1].add(by_subject(said, "belt slip"))
            rows[2].add(by_subject(said, "wrong pulley"))
            rows[3].add(by_subject(said, "damaged place"))
        for table, row in zip((ratios, slips, wrong, damage), rows, strict=True):
            table.append(row)
        truths.append(
            f"{label:<34}{min(slip):8.1f}{np.median(slip):8.1f}{max(slip):8.1f}{missed:8d}"
        )
    print("\nTruth: largest lead of the motor over any second, %, and units that missed a stage")
    print(f"{'case':<34}{'least':>8}{'median':>8}{'most':>8}{'missed':>8}")
    print("\n".join(truths))
    print_table("Motor turns per drum turn on plateaus", ratios)
    print_table("Belt slip finding", slips)
    print_table("Wrong pulley finding (every profile is right: all flags are false)", wrong)
    print_table("Damaged place on the belt", damage)


if __name__ == "__main__":
    main()
