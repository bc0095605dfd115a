"""First-order level and imbalance finding against simulated units.

    python -m tests.benchmarks.imbalance [--units N] [--seed N]

Truth: the acceleration at the sensor's place, case and panel, fitted by an ordinary least squares
at 16000 samples per second over each plateau that is found, before the logger's jitter, noise,
clipping and folding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spinlab.findings import imbalance
from spinlab.simulate import Parameters, Simulated, random_parameters, simulate, spin_test
from spinlab.simulate.dynamics import STATE_RATE_HZ, integrate
from spinlab.simulate.logger import PANEL_RATE_HZ, sensed
from spinlab.simulate.programme import command
from spinlab.simulate.site_parameters import Logger
from spinlab.simulate.suspension import shake
from spinlab.simulate.timebase import timebase
from spinlab.vibration.measure import measure
from spinlab.vibration.plateaus import Span
from tests.benchmarks.simulated import Row, arguments, as_read, print_table, true_track

MASSES_KG = (0.02, 0.08, 0.15, 0.3, 0.5, 0.8)


def unit(seed: int, mass_kg: float, *, kind: str = "acceleration") -> Parameters:
    """One machine whose unbalance is set, the rest drawn."""
    p = random_parameters(np.random.default_rng(seed), kind=kind)
    programme = spin_test(hold_s=5.0, rise_rpm_per_s=100.0, coast_s=4.0)
    return replace(p, programme=programme, unbalance=replace(p.unbalance, mass_kg=mass_kg))


def true_levels(simulated: Simulated, spans: Sequence[Span]) -> list[float]:
    """Peak first-order acceleration at the sensor's place over each span, m/s2."""
    truth, p = simulated.truth, simulated.truth.parameters
    motion = integrate(p, command(p.programme), truth.seed)
    base = timebase(motion, seed=truth.seed, rate_hz=PANEL_RATE_HZ)
    rows = sensed(base.time_s, p, base, shake(p, motion))
    found = []
    for span in spans:
        inside = slice(round(span.start_s * PANEL_RATE_HZ), round(span.end_s * PANEL_RATE_HZ))
        angle = 2.0 * np.pi * base.turns[inside]
        # In pieces of a second, because the load wanders.
        pieces = np.array_split(np.arange(len(angle)), max(1, len(angle) // PANEL_RATE_HZ))
        squares, sizes = [], [len(piece) for piece in pieces]
        for piece in pieces:
            design = np.column_stack(
                [np.cos(angle[piece]), np.sin(angle[piece]), np.ones(len(piece))]
            )
            solution, *_ = np.linalg.lstsq(design, rows[:, inside][:, piece].T, rcond=None)
            squares.append(np.sum(solution[:2] ** 2))
        frequency_hz = span.speed_rpm / 60.0
        left = joined_gain(frequency_hz, p.logger) / np.sinc(frequency_hz / STATE_RATE_HZ) ** 2
        found.append(left * float(np.sqrt(np.average(squares, weights=sizes))))
    return found


def joined_gain(frequency_hz: float, logger: Logger) -> float:
    """What a simulated sensor meets of a sine of the case, whose states are joined by lines.

    On a state all of it, midway between two of them cos(pi f / f_state), on average sinc squared:
    at 1400 rpm 1 % lies between, which is the simulator's and no error of the reading.
    """
    rng = np.random.default_rng(0)
    instants = (np.arange(2000) + 0.5) / logger.rate_hz + rng.normal(0.0, logger.jitter_s, 2000)
    part = (instants * STATE_RATE_HZ) % 1.0
    step = 2.0 * np.pi * frequency_hz / STATE_RATE_HZ
    gain = (1.0 - part) * np.exp(-1j * step * part) + part * np.exp(1j * step * (1.0 - part))
    return float(np.abs(np.mean(gain)))


def main() -> None:
    """Print the tables."""
    options = arguments(8)
    levels, flags = [], []
    for mass in MASSES_KG:
        level, flag = Row(f"unbalance {mass:.2f} kg"), Row(f"unbalance {mass:.2f} kg")
        for seed in range(options.seed, options.seed + options.units):
            simulated = simulate(unit(seed, mass), seed)
            found = measure(as_read(simulated), true_track(simulated))
            told = [one for one in found.levels if one.order == 1.0 and one.total is not None]
            truth = true_levels(simulated, [one.span for one in told])
            for one, size in zip(told, truth, strict=True):
                level.compare(one.total.acceleration_m_s2_peak, size)
            flag.add(imbalance.findings(found)[0])
        levels.append(level)
        flags.append(flag)
    print_table("First-order acceleration on plateaus (accelerometer log)", levels)
    print_table("Imbalance finding (a unit counts as unbalanced from 0.25 kg)", flags)


if __name__ == "__main__":
    main()
