"""Resonance, damping and the worn-damper finding against simulated units.

    python -m tests.benchmarks.suspension [--units N] [--seed N]

The simulated tub has three modes and dry friction as well; a fitted resonance is
held against the mode nearest to it, its damping against the viscous damping of all modes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spinlab.findings import suspension
from spinlab.simulate import Parameters, Step, random_parameters, simulate, spin_test
from spinlab.vibration.measure import measure
from tests.benchmarks.simulated import Row, arguments, as_read, print_table, true_track

DAMPING = (0.02, 0.04, 0.10, 0.14, 0.20)


def unit(seed: int, damping: float) -> Parameters:
    """One machine whose damping is set, the rest drawn; worn friction dampers rub less too."""
    rng = np.random.default_rng(seed)
    p = random_parameters(rng, kind="acceleration")
    steps = spin_test((400.0, 800.0, 1000.0), hold_s=4.0, rise_rpm_per_s=rng.uniform(40, 120))
    friction = p.tub.friction_n * min(1.0, damping / 0.1)
    return replace(
        p,
        programme=(*steps, Step(kind="rest", hold_s=2.0)),
        tub=replace(p.tub, damping_ratio=damping, friction_n=friction),
        unbalance=replace(p.unbalance, mass_kg=max(p.unbalance.mass_kg, 0.04)),
    )


def main() -> None:
    """Print the tables."""
    options = arguments(10)
    frequency, ratio, flags = [], [], []
    for damping in DAMPING:
        rows = [Row(f"damping ratio {damping:.2f}") for _ in range(3)]
        for seed in range(options.seed, options.seed + options.units):
            p = unit(seed, damping)
            simulated = simulate(p, seed)
            found = measure(as_read(simulated), true_track(simulated))
            modes = np.array([p.tub.horizontal_hz, p.tub.vertical_hz, p.tub.nodding_hz])
            for one in found.passages:
                if one.frequency_hz is None or one.damping_ratio is None:
                    continue
                nearest = float(modes[np.argmin(np.abs(modes - one.frequency_hz.value))])
                rows[0].compare(one.frequency_hz, nearest)
                rows[1].compare(one.damping_ratio, damping)
            rows[2].add(suspension.findings(found)[0])
        frequency.append(rows[0])
        ratio.append(rows[1])
        flags.append(rows[2])
    print_table("Resonance frequency from the swept fit", frequency)
    print_table("Damping ratio from the swept fit (friction reads as damping)", ratio)
    print_table("Worn damper finding (worn below 0.06)", flags)


if __name__ == "__main__":
    main()
