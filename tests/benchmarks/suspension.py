"""Resonance, damping and the worn-damper finding against simulated units.

    python -m tests.benchmarks.suspension [--units N] [--seed N]

The simulated tub has three modes and dry friction as well; a fitted resonance is
held against the mode nearest to it, its damping against the viscous damping of all modes.  A last
table says what the damping's error comes from: the same units without dry friction, and with their
modes far apart.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spinlab.findings import suspension
from spinlab.simulate import Parameters, Step, random_parameters, simulate, spin_test
from spinlab.vibration.measure import measure
from tests.benchmarks.simulated import Row, arguments, as_read, print_table, true_track

DAMPING = (0.02, 0.04, 0.10, 0.14, 0.20)
LIMITED = (0.04, 0.10)
APART_HZ = (2.2, 3.6, 5.8)  # horizontal, vertical, nodding


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
    limits = [
        limit(label, damping, range(options.seed, options.seed + options.units))
        for damping in LIMITED
        for label in ("as drawn", "no friction", "modes apart", "both")
    ]
    print_table("What the damping ratio's error comes from", limits)


def limit(label: str, damping: float, seeds: range) -> Row:
    """Damping of units that lack what one mode cannot describe."""
    row = Row(f"{damping:.2f}, {label}")
    for seed in seeds:
        p = unit(seed, damping)
        tub = p.tub
        if label in ("no friction", "both"):
            tub = replace(tub, friction_n=0.0)
        if label in ("modes apart", "both"):
            low, middle, high = APART_HZ
            tub = replace(tub, horizontal_hz=low, vertical_hz=middle, nodding_hz=high)
        simulated = simulate(replace(p, tub=tub), seed)
        found = measure(as_read(simulated), true_track(simulated))
        row.add(suspension.findings(found)[0])
        for one in found.passages:
            if one.damping_ratio is not None:
                row.compare(one.damping_ratio, damping)
    return row


if __name__ == "__main__":
    main()
