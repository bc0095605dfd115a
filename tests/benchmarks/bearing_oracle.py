"""How much of a damaged bearing a sound can hold at all: an oracle that is told nearly everything.

    python -m tests.benchmarks.bearing_oracle [--units N] [--fault NAME] [--range report|tuning]

The oracle knows the drum's (or motor's) true angle, the true order of the blows, slip included, and
how far the damage alone stands out of everything else at each frequency.  It adds up one squared
envelope weighted by that, and reads the harmonics at their true place: nothing is searched, so
nothing is corrected for.  Each unit (moderate severity, +5 dB, as in the fault bench) is held
against the same machine without the damage.  What the oracle cannot tell apart is drowned.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import click
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft, ndimage

from spinlab.envelope.significance import box_log_survival, noise_floor
from spinlab.recording import Recording
from spinlab.simulate import Parameters, simulate
from spinlab.simulate.bearings import bearing_sound, cage_share, strikes_per_turn
from spinlab.simulate.dynamics import integrate
from spinlab.simulate.programme import command
from spinlab.simulate.simulator import phone_timebase
from spinlab.simulate.sound_recording import _in_room, at_the_microphone
from spinlab.simulate.suspension import shake
from tests.benchmarks.faults import BEARING, SOUGHT, Unit, parameters_of
from tests.benchmarks.population import RANGES, through_a_file
from tests.benchmarks.roc import area, area_interval

Array = NDArray[np.float64]
HOPS = 4
LEAST_HZ = 5.0  # of the drum: 300 rpm, from where the signal-to-noise ratio counts
CELLS_PER_TURN = 64
HIGHEST_ORDER = 30.0
MOST_NEPERS = 40.0
WIDTHS = (0.0, 0.002, 0.005)
CAGE_WIDTHS = (0.004, 0.008)  # its blows scatter by 5 % of their distance


@dataclass(frozen=True, kw_only=True, eq=False)
class Told:
    """What the oracle is told of a unit."""

    weights: NDArray[np.float32]
    frame: int
    turns: Array
    speed_hz: Array
    rate_hz: float


def cells(sound: NDArray[np.floating], frame: int) -> NDArray[np.float32]:
    """Short-time power, shape (frames, frequencies)."""
    window = np.hanning(frame + 1)[:-1].astype(np.float32)
    pieces = sliding_window_view(np.asarray(sound, np.float32), frame)[:: frame // HOPS]
    parts = [
        np.abs(fft.rfft(pieces[k : k + 20000] * window, axis=1)) ** 2
        for k in range(0, len(pieces), 20000)
    ]
    power: NDArray[np.float32] = np.concatenate(parts)
    return power


def tell(p: Parameters, seed: int) -> Told:
    """Angle, and at each frequency the damage's share of all power while the drum spins."""
    base, fault = phone_timebase(p, integrate(p, command(p.programme), seed), seed), p.bearings[0]
    on_motor = fault.place.startswith("motor")
    frame = 32 if on_motor else 128
    alone = _in_room(bearing_sound(fault, 0, base), p, base, "room", 0)
    every = at_the_microphone(p, base, shake(p, base.motion))[0][0]
    own, total = cells(alone, frame), cells(every, frame)
    place = np.minimum(np.arange(len(own)) * (frame // HOPS) + frame // 2, base.count - 1)
    spinning = base.speed_hz[place] > LEAST_HZ
    share = own[spinning].mean(axis=0) / np.maximum(total[spinning].mean(axis=0), 1e-20)
    share[:2] = 0.0
    return Told(
        weights=np.clip(share, 0.0, 1.0),
        frame=frame,
        turns=np.abs(base.motor_turns if on_motor else base.turns),
        speed_hz=base.speed_hz.astype(np.float64),
        rate_hz=float(p.phone.rate_hz),
    )


def spectrum(recording: Recording, told: Told) -> tuple[Array, float]:
    """Whitened order spectrum of the weighted envelope over the true angle, and its step."""
    power = cells(recording.samples[0], told.frame)
    hop = told.frame // HOPS
    mean = ndimage.uniform_filter1d(power, round(told.rate_hz / hop), axis=0, mode="nearest")
    power = np.minimum(power / np.maximum(mean, 1e-20), 30.0)
    envelope = power @ told.weights / told.weights.sum() - 1.0
    place = np.minimum(np.arange(len(envelope)) * hop + told.frame // 2, len(told.turns) - 1)
    spinning = told.speed_hz[place] > LEAST_HZ
    turns, envelope = told.turns[place][spinning], envelope[spinning]
    cell = ((turns - turns[0]) * CELLS_PER_TURN).astype(np.int64)
    count = np.bincount(cell)
    values = np.bincount(cell, envelope) / np.maximum(count, 1)
    lines = np.abs(fft.rfft(values * np.hanning(len(values) + 1)[:-1])) ** 2
    step = CELLS_PER_TURN / len(values)
    lines = lines[: int(HIGHEST_ORDER / step)]
    return lines / noise_floor(lines, step).level, step


def nepers(level: Array, step: float, order: float, width: float) -> float:
    """-ln p of one line at a known place."""
    middle, half = round(order / step), max(1, round(width * order / step))
    first, past = max(3, middle - half), middle + half + 1
    if past > len(level):
        return 0.0
    rare = -float(box_log_survival(level[first:past].sum(), past - first))
    return min(rare, MOST_NEPERS)


def statistic(recording: Recording, told: Told, p: Parameters) -> float:
    """The oracle's evidence: the nepers of all harmonics, the best of a few widths."""
    level, step = spectrum(recording, told)
    fault = p.bearings[0]
    if fault.part == "grinding":
        cage = cage_share(fault)
        return sum(nepers(level, step, order, 0.0) for order in (cage, fault.balls * cage))
    order, cage_like = strikes_per_turn(fault), fault.part == "cage"
    return max(
        sum(nepers(level, step, h * order, width * (h if cage_like else 1)) for h in range(1, 6))
        for width in (CAGE_WIDTHS if cage_like else WIDTHS)
    )


def pair(unit: Unit) -> tuple[float, float]:
    """Evidence with the damage, and of the same machine without it."""
    p, _, _ = parameters_of(unit)
    made = simulate(p, np.random.default_rng([*unit.seed, 1]))
    told = tell(p, made.truth.seed)
    sound = simulate(replace(p, bearings=()), np.random.default_rng([*unit.seed, 1]))
    return (
        statistic(through_a_file(made), told, p),
        statistic(through_a_file(sound), told, p),
    )


@click.command(help=__doc__)
@click.option("--units", default=10, show_default=True, help="Units of each fault.")
@click.option("--fault", "wanted", multiple=True, help="Only these faults of the fault bench.")
@click.option("--range", "part", type=click.Choice(tuple(RANGES)), default="report")
def main(units: int, wanted: tuple[str, ...], part: str) -> None:
    """Print how well the oracle tells damaged from sound machines."""
    for name, sought in SOUGHT.items():
        if sought.kinds != BEARING or (wanted and name not in wanted):
            continue
        numbers = range(units)
        pairs = [
            pair(Unit(fault=name, number=n, part=part, felt=False, moderate=True)) for n in numbers
        ]
        bad, good = (list(column) for column in zip(*pairs, strict=True))
        low, high = area_interval(bad, good)
        click.echo(
            f"{name:<33} {units:3d} pairs ({part}), area {area(bad, good):.2f} "
            f"({low:.2f}-{high:.2f}); evidence with damage "
            f"{', '.join(f'{value:.0f}' for value in bad)}; without "
            f"{', '.join(f'{value:.0f}' for value in good)}"
        )


if __name__ == "__main__":
    main()
