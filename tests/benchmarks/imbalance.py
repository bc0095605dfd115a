"""First-order level and imbalance finding against simulated units.

    python -m tests.benchmarks.imbalance [--units N] [--seed N]

Truth: the case's own acceleration at the sensor's place, fitted by an ordinary least squares at 500
samples per second over each plateau, before the logger's jitter, noise, clipping and folding.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spinlab.findings import imbalance
from spinlab.simulate import Parameters, Simulated, random_parameters, simulate, spin_test
from spinlab.simulate.dynamics import STATE_RATE_HZ, integrate
from spinlab.simulate.logger import GAINS, case_acceleration
from spinlab.simulate.programme import command
from spinlab.simulate.suspension import shake
from spinlab.vibration.measure import measure
from tests.benchmarks.simulated import Row, arguments, as_read, print_table, true_track

MASSES_KG = (0.02, 0.08, 0.15, 0.3, 0.5, 0.8)


def unit(seed: int, mass_kg: float, *, kind: str = "acceleration") -> Parameters:
    """One machine whose unbalance is set, the rest drawn."""
    p = random_parameters(np.random.default_rng(seed), kind=kind)
    programme = spin_test(hold_s=5.0, rise_rpm_per_s=100.0, coast_s=4.0)
    return replace(p, programme=programme, unbalance=replace(p.unbalance, mass_kg=mass_kg))


def true_levels(simulated: Simulated) -> dict[float, float]:
    """Expected plateau -> peak first-order acceleration at the sensor's place, m/s2."""
    truth, p = simulated.truth, simulated.truth.parameters
    motion = integrate(p, command(p.programme), truth.seed)
    case = case_acceleration(p, shake(p, motion))
    rows = case * np.array(GAINS[p.logger.placement])[:, None]
    found = {}
    for stage in truth.stages:
        if stage.start_s is None or stage.end_s is None or stage.speed_rpm is None:
            continue
        span = slice(round(stage.start_s * STATE_RATE_HZ), round(stage.end_s * STATE_RATE_HZ))
        angle = 2.0 * np.pi * motion.turns[span]
        # In pieces of a second, because the load wanders.
        pieces = np.array_split(np.arange(len(angle)), max(1, len(angle) // 500))
        squares = []
        for piece in pieces:
            design = np.column_stack(
                [np.cos(angle[piece]), np.sin(angle[piece]), np.ones(len(piece))]
            )
            solution, *_ = np.linalg.lstsq(design, rows[:, span][:, piece].T, rcond=None)
            squares.append(np.sum(solution[:2] ** 2))
        found[stage.speed_rpm] = float(np.sqrt(np.mean(squares)))
    return found


def main() -> None:
    """Print the tables."""
    options = arguments(8)
    levels, flags = [], []
    for mass in MASSES_KG:
        level, flag = Row(f"unbalance {mass:.2f} kg"), Row(f"unbalance {mass:.2f} kg")
        for seed in range(options.seed, options.seed + options.units):
            simulated = simulate(unit(seed, mass), seed)
            found = measure(as_read(simulated), true_track(simulated))
            truth = true_levels(simulated)
            for one in found.levels:
                if one.order != 1.0 or one.total is None or not truth:
                    continue
                speed = min(truth, key=lambda n: abs(n - one.span.speed_rpm))
                if abs(speed - one.span.speed_rpm) < 10.0:
                    level.compare(one.total.acceleration_m_s2_peak, truth[speed])
            flag.add(imbalance.findings(found)[0])
        levels.append(level)
        flags.append(flag)
    print_table("First-order acceleration on plateaus (accelerometer log)", levels)
    print_table("Imbalance finding (a unit counts as unbalanced from 0.25 kg)", flags)


if __name__ == "__main__":
    main()
