"""How much of arcing brushes, or of a damaged belt, a sound holds at all.

    python -m tests.benchmarks.drive_oracle [--units N] [--seed N]

Each unit of the motor and belt benches is taken apart: how large a share of the power at the
microphone the fault alone makes in its best band, through the room and beside everything else, and
what the detector says.  For arcing the oracle is also told the motor's true angle, and reads the
levelled noise at the commutator bars' rate; and the same unit is recorded again from near by.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.stats import gamma

from spinlab.drive.arcing import BANDS_HZ, _levelled, _power, arcing
from spinlab.drive.belt_pass import belt_pass
from spinlab.drive.measure import belt_order
from spinlab.drive.spectra import order_spectra
from spinlab.recording import Recording
from spinlab.simulate import Parameters, Simulated, simulate
from spinlab.simulate.belt_sound import belt_passing
from spinlab.simulate.dynamics import integrate
from spinlab.simulate.motor_sound import brushes
from spinlab.simulate.programme import command
from spinlab.simulate.simulator import phone_timebase
from spinlab.simulate.sound_recording import _in_room, at_the_microphone
from spinlab.simulate.streams import gain
from spinlab.simulate.suspension import shake
from spinlab.simulate.timebase import Timebase
from tests.benchmarks import belt, motor
from tests.benchmarks.simulated import arguments, machine_of, true_track

SPINNING_HZ = 5.0
FRAME = 4096
PIECE_S = 1.0
NEAR_M = 0.2
LOW_BANDS_HZ = ((40.0, 100.0), (100.0, 200.0), (200.0, 400.0), (400.0, 800.0))


def timebase_of(p: Parameters, seed: int) -> Timebase:
    """The machine's true state at each sample."""
    return phone_timebase(p, integrate(p, command(p.programme), seed), seed)


def power(sound: NDArray[np.floating], spinning: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Mean spectrum while the drum spins."""
    kept = sound[spinning]
    blocks = kept[: len(kept) // FRAME * FRAME].reshape(-1, FRAME) * np.hanning(FRAME)
    return np.asarray(np.mean(np.abs(fft.rfft(blocks, axis=1)) ** 2, axis=0))


def best_share(
    p: Parameters, base: Timebase, alone: NDArray[np.floating], bands: tuple
) -> tuple[float, tuple[float, float]]:
    """The largest share of a band's power at the microphone that the fault alone makes."""
    spinning = base.speed_hz > SPINNING_HZ
    own = power(_in_room(alone.astype(np.float32), p, base, "room", 0), spinning)
    every = power(at_the_microphone(p, base, shake(p, base.motion))[0][0], spinning)
    pitch = np.fft.rfftfreq(FRAME, 1.0 / base.rate_hz)
    shares = []
    for low, high in bands:
        inside = (pitch >= low) & (pitch < high)
        shares.append((float(own[inside].sum() / every[inside].sum()), (low, high)))
    return max(shares)


def bars_nepers(recording: Recording, p: Parameters, base: Timebase) -> float:
    """-ln p of the levelled noise at the bars' rate, the motor's true angle told; best band."""
    rate = recording.rate_hz
    size = round(PIECE_S * rate)
    angle = 2.0 * np.pi * p.drive.commutator_bars * base.motor_turns
    window, found = np.hanning(size), []
    driven = np.flatnonzero((base.speed_hz > SPINNING_HZ) & (base.load > 0.02))
    for low, high in BANDS_HZ:
        ratios = []
        for first in range(driven[0], driven[-1] - size, size // 2):
            spectrum = fft.rfft(recording.samples[0][first : first + size].astype(float))
            start, stop = round(low * PIECE_S), round(min(high, 0.45 * rate) * PIECE_S)
            noise = _levelled(spectrum[start:stop], round(120.0 * PIECE_S))
            square = _power(noise, start, size)
            turned = np.exp(-1j * (angle[first : first + size] - angle[first]))
            line = np.abs(np.fft.fft((square / square.mean() - 1.0) * window * turned)) ** 2
            ratios.append(line[0] / np.mean(np.r_[line[4:60], line[-60:-4]]))
        shape = 2.0 * len(ratios) / 3.0
        found.append(-float(gamma.logsf(np.mean(ratios), shape, scale=1.0 / shape)))
    return max(found)


def swell(made: Simulated) -> float:
    """Chance of the strongest swell at twice the mains in steady noise."""
    track = true_track(made, slowest_rpm=60.0, error_percent=0.02)
    found = arcing(made.recording, track, mains_hz=made.truth.mains_hz).p_value
    return 1.0 if found is None else found


def arcing_line(seed: int, severity: float) -> str:
    """One unit that arcs."""
    p = motor.unit(seed, "brushed", {"arcing": severity}, rate_hz=48000)
    made, base = simulate(p, seed), timebase_of(p, seed)
    sound = replace(p, drive=replace(p.drive, arcing=0.0))
    alone = (brushes(p, base) - brushes(sound, base)) * np.float32(gain(p.voice.motor_db))
    share, band = best_share(p, base, alone, BANDS_HZ)
    found = swell(made)
    near = swell(simulate(replace(p, room=replace(p.room, distance_m=NEAR_M)), seed))
    return (
        f"{seed:6d}  {severity:4.1f}  {100 * share:6.1f} % in {band[0]:5.0f}-{band[1]:5.0f} Hz"
        f"  swell p {found:8.1e}, from {NEAR_M:g} m {near:8.1e}  bars, told the angle: p "
        f"{np.exp(-bars_nepers(made.recording, p, base)):8.1e}"
    )


def belt_line(seed: int, severity: float) -> str:
    """One unit with a damaged place on its belt."""
    p = belt.unit(seed)
    p = replace(p, belt=replace(p.belt, defect=severity))
    made, base = simulate(p, seed), timebase_of(p, seed)
    share, band = best_share(p, base, belt_passing(p, base), LOW_BANDS_HZ)
    track = true_track(made, slowest_rpm=60.0, error_percent=0.02)
    order = belt_order(machine_of(p))
    found = belt_pass(order_spectra(made.recording, track, highest_order=32.0), order)
    return (
        f"{seed:6d}  {severity:4.1f}  {100 * share:6.1f} % in {band[0]:5.0f}-{band[1]:5.0f} Hz"
        f"  excess {found.excess or 0.0:6.1f}"
    )


def main() -> None:
    """Print both tables."""
    options = arguments(6)
    seeds = range(options.seed, options.seed + options.units)
    print("Arcing: share of the power at the microphone in its best band, and what is found")
    for severity in (0.3, 1.0):
        print("\n".join(arcing_line(seed, severity) for seed in seeds))
    print("\nDamaged place on the belt: share in its best band, and excess of its row")
    for severity in (0.1, 0.5):
        print("\n".join(belt_line(seed, severity) for seed in seeds))


if __name__ == "__main__":
    main()
