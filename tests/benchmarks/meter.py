"""Meter readings by Monte Carlo: the drag curve's coverage, accused readings, heater verdicts.

python -m tests.benchmarks.meter [--units N] [--seed N]
"""

from __future__ import annotations

import numpy as np

from spinlab.findings.heater import heater_findings
from spinlab.machine.value import Machine, Motor
from spinlab.meter import MeterAccuracy, Reading, fit_drag
from tests.benchmarks.simulated import Row, arguments, print_table

SPEEDS = np.array([400.0, 800.0, 1000.0, 1200.0, 1400.0])
MACHINE = Machine(
    name="invented",
    drive="belt",
    drum_to_motor_ratio=11.0,
    motor=Motor(kind="brushed"),
    rated_maximum_rpm=1400.0,
    mains_v=230.0,
    heater_w=2000.0,
)


def read_with(rng: np.random.Generator, values: np.ndarray, digit: float) -> np.ndarray:
    """Values as a meter of the default accuracy shows them (rectangular law)."""
    half = MeterAccuracy().share * values + digit
    return values + rng.uniform(-half, half)


def main() -> None:
    """Print the tables."""
    options = arguments(2000)
    rng = np.random.default_rng(options.seed)
    curve, named = [], []
    for excess in (0.0, 20.0, 40.0, 80.0):
        row, blame = Row(f"one reading off by {excess:.0f} W"), Row(f"off by {excess:.0f} W")
        for _ in range(options.units // 4):
            a, b, c = rng.uniform(20, 90), rng.uniform(0.05, 0.15), rng.uniform(1e-8, 6e-8)
            truth = a + b * SPEEDS + c * SPEEDS**3
            shown = read_with(rng, truth, MeterAccuracy().power_w)
            wrong = int(rng.integers(len(SPEEDS)))
            shown[wrong] += excess
            fit = fit_drag(
                [Reading(speed_rpm=n, power_w=p) for n, p in zip(SPEEDS, shown, strict=True)]
            )
            if excess == 0.0 and fit.constant_w is not None:
                row.compare(fit.constant_w, a)
                row.compare(fit.friction_w_per_rpm, b)
                row.compare(fit.windage_w_per_rpm3, c)
            row.units += 1
            row.flagged += fit.misfit_p is not None and fit.misfit_p < 0.01
            blame.units += 1
            blame.flagged += fit.misfit == f"{SPEEDS[wrong]:g} rpm"
            blame.refused += fit.misfit not in ("", f"{SPEEDS[wrong]:g} rpm")
        curve.append(row)
        named.append(blame)
    heater = []
    for ratio in (1.0, 1.1, 1.3, 0.4, 50.0):
        row = Row(f"element at {ratio:g} x its resistance")
        for _ in range(options.units // 4):
            volts = rng.uniform(220.0, 245.0)
            amps = volts / (26.45 * ratio)
            reading = Reading(
                label="heat",
                voltage_v=float(read_with(rng, np.array([volts]), 1.0)[0]),
                current_a=float(max(read_with(rng, np.array([amps]), 0.05)[0], 0.0)),
            )
            row.add(heater_findings([reading], MACHINE)[0])
        heater.append(row)
    print_table("Drag curve P = a + b n + c n^3 (flagged: a misfit is seen)", curve)
    print_table("Which reading (flagged: the right one named; refused: a wrong one)", named)
    print_table("Heating element", heater)


if __name__ == "__main__":
    main()
