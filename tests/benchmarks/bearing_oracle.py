"""How much of a damaged bearing a sound can hold at all: an oracle that is told nearly everything.

    python -m tests.benchmarks.bearing_oracle [--units N] [--fault NAME] [--range report|tuning]

The oracle knows the true angle of the drum (or motor), the true order of the blows, slip included,
and at every moment and frequency what share of the sound is the damage's.  It reads one squared
envelope weighted by that, in windows of three lengths, over all the spin and over its fast and its
slow part, with the tool's own test at the family's true place: no band, no time and no order is
searched.  Only how the slip wanders from blow to blow is not told.  Each unit (moderate severity,
+5 dB, as in the fault bench) is held against the same machine without the damage.  What the oracle
cannot tell apart is drowned.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import click
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft, ndimage

from spinlab.bearings.explain import CAGE_WIDTHS, patterns_of, search_widths
from spinlab.bearings.geometry import BearingGeometry, Fault, MountedBearing
from spinlab.bearings.score import read_line, search
from spinlab.bearings.spectra import EnvelopeSpectra, envelope_spectra
from spinlab.envelope.whitening import line_limited
from spinlab.recording import Recording
from spinlab.simulate import Parameters, simulate
from spinlab.simulate.bearings import bearing_sound, cage_share, strikes_per_turn
from spinlab.simulate.dynamics import integrate
from spinlab.simulate.machine_parameters import BearingFault
from spinlab.simulate.programme import command
from spinlab.simulate.simulator import phone_timebase
from spinlab.simulate.sound_recording import _in_room, at_the_microphone
from spinlab.simulate.suspension import shake
from tests.benchmarks.faults import BEARING, SOUGHT, Unit, parameters_of
from tests.benchmarks.population import RANGES, through_a_file
from tests.benchmarks.roc import area, area_interval

Array = NDArray[np.float64]
Power = NDArray[np.float32]
HOPS = 4
LEAST_HZ = 5.0  # of the drum: 300 rpm, from where the signal-to-noise ratio counts
FAST_SHARE = 0.75  # of the top speed, as in `spinlab.bearings.angle`
LEAST_FRAMES = 200
DRUM_FRAMES, MOTOR_FRAMES = (64, 128, 256), (16, 32, 64)  # 4 to 16 ms, and 1 to 4 ms
HIGHEST_ORDER = 32.0
PASSED = 1.5  # rates up to so many over the window's length pass it
HIGHEST = 30.0
# About its true order a family is read within this, relative: a line's width after a minute.
PLACE = 4e-4
PARTS: dict[str, Fault] = {
    "outer": "outer race",
    "inner": "inner race",
    "ball": "ball",
    "cage": "cage",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Told:
    """What the oracle is told of a unit, in windows of one length.

    Attributes:
        share: shape (frames, frequencies), the damage's share of the sound over a second around.
        window: samples.
        turns: shape (frames,), angle of the damaged bearing's shaft.
        speed_hz: shape (frames,), of the drum.
        rate_hz: of the samples.
    """

    share: Power
    window: int
    turns: Array
    speed_hz: Array
    rate_hz: float


def cells(sound: NDArray[np.floating], window: int) -> Power:
    """Short-time power, shape (frames, frequencies)."""
    taper = np.hanning(window + 1)[:-1].astype(np.float32)
    pieces = sliding_window_view(np.asarray(sound, np.float32), window)[:: window // HOPS]
    parts = [
        np.abs(fft.rfft(pieces[k : k + 20000] * taper, axis=1)) ** 2
        for k in range(0, len(pieces), 20000)
    ]
    power: Power = np.concatenate(parts)
    return power


def over_a_second(power: Power, window: int, rate_hz: float) -> Power:
    """Mean over the second around each frame."""
    frames = round(rate_hz * HOPS / window)
    mean: Power = ndimage.uniform_filter1d(power, frames, axis=0, mode="nearest")
    return np.maximum(mean, np.float32(1e-20))


def tell(p: Parameters, seed: int) -> list[Told]:
    """The angle, and at each moment and frequency the damage's share of all power."""
    base, fault = phone_timebase(p, integrate(p, command(p.programme), seed), seed), p.bearings[0]
    on_motor, rate_hz = fault.place.startswith("motor"), float(p.phone.rate_hz)
    alone = _in_room(bearing_sound(fault, 0, base), p, base, "room", 0)
    every = at_the_microphone(p, base, shake(p, base.motion))[0][0]
    found = []
    for window in MOTOR_FRAMES if on_motor else DRUM_FRAMES:
        own, total = (over_a_second(cells(x, window), window, rate_hz) for x in (alone, every))
        place = np.arange(len(own)) * (window // HOPS) + window // 2
        place = np.minimum(place, base.count - 1)
        share = np.clip(own / total, 0.0, 1.0)
        share[:, :2] = 0.0
        turns = np.abs(base.motor_turns if on_motor else base.turns)
        found.append(
            Told(
                share=share,
                window=window,
                turns=turns[place],
                speed_hz=base.speed_hz[place].astype(np.float64),
                rate_hz=rate_hz,
            )
        )
    return found


def spectra(recording: Recording, told: Told) -> list[EnvelopeSpectra]:
    """Order spectra of the weighted envelope: all the spin, its fast part, its slow part."""
    flat = line_limited(recording.samples[0], told.rate_hz)
    power = cells(flat, told.window)[: len(told.share)]
    power = np.minimum(power / over_a_second(power, told.window, told.rate_hz), HIGHEST) - 1.0
    envelope = (power * told.share[: len(power)]).sum(axis=1)
    speed_hz, turns = told.speed_hz[: len(power)], told.turns[: len(power)]
    spinning = speed_hz > LEAST_HZ
    fast = speed_hz > FAST_SHARE * np.percentile(speed_hz[spinning], 99.0)
    found = []
    for part in (spinning, fast, spinning & ~fast):
        if np.count_nonzero(part) < LEAST_FRAMES:
            continue
        rate = np.median(np.diff(turns[part])) * told.rate_hz * HOPS / told.window
        highest = min(HIGHEST_ORDER, PASSED * told.rate_hz / told.window / max(rate, LEAST_HZ))
        per_turn = int(2 ** np.ceil(np.log2(2.6 * highest)))
        angle = np.arange(turns[part][0], turns[part][-1], 1.0 / per_turn)
        values = np.interp(angle, turns[part], envelope[part])
        # The envelope's mean is one by custom; what stands about it is small.
        values = 1.0 + 0.05 * values / max(float(np.std(values)), 1e-20)
        one = envelope_spectra(values[None, :], per_turn, highest_order=highest)
        found.append(one.without([(float(order), 0.0) for order in range(1, int(highest) + 1)]))
    return found


def mounted(fault: BearingFault) -> MountedBearing:
    """The damaged bearing on a shaft of its own."""
    geometry = BearingGeometry(
        designation="",
        balls=fault.balls,
        ball_diameter_mm=fault.ball_diameter_mm,
        pitch_diameter_mm=fault.pitch_diameter_mm,
        contact_angle_deg=fault.contact_angle_deg,
    )
    return MountedBearing(name=fault.place, geometry=geometry)


def nepers(one: EnvelopeSpectra, fault: BearingFault) -> float:
    """-ln p of the family at its true place in one spectrum; 0 where it cannot be read."""
    order = strikes_per_turn(fault)
    if fault.part == "grinding":
        lines = [read_line(one, 0, place, 0.0, "") for place in (cage_share(fault), order)]
        return float(np.log(10.0) * -sum(line.log10_p for line in lines if line is not None))
    kind, bearing = PARTS[fault.part], mounted(fault)
    widths = CAGE_WIDTHS if kind == "cage" else search_widths(0.0)
    low, high = order * (1.0 - PLACE), order * (1.0 + PLACE)
    best = search((one,), low, high, widths, np.ones(1), patterns_of(bearing, kind))
    return 0.0 if best is None else -best.log_p


def evidence(recording: Recording, told: list[Told], p: Parameters) -> float:
    """The strongest evidence in any window and part of the spin."""
    every = [one for each in told for one in spectra(recording, each)]
    return max((nepers(one, p.bearings[0]) for one in every), default=0.0)


def pair(unit: Unit) -> tuple[float, float]:
    """Evidence with the damage, and of the same machine without it."""
    p, _, _ = parameters_of(unit)
    made = simulate(p, np.random.default_rng([*unit.seed, 1]))
    told = tell(p, made.truth.seed)
    sound = simulate(replace(p, bearings=()), np.random.default_rng([*unit.seed, 1]))
    return evidence(through_a_file(made), told, p), evidence(through_a_file(sound), told, p)


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
        drowned = sum(one < np.quantile(good, 0.9) for one in bad)
        click.echo(
            f"{name:<33} {units:3d} pairs ({part}), area {area(bad, good):.2f} "
            f"({low:.2f}-{high:.2f}); {drowned} below what one in ten shows without damage; "
            f"evidence with it {', '.join(f'{value:.0f}' for value in bad)}; without "
            f"{', '.join(f'{value:.0f}' for value in good)}",
        )


if __name__ == "__main__":
    main()
