"""The sound of a healthy machine, source by source, at the place of the microphone.

Unit: 1.0 is the RMS of the machine's own broadband noise at 1200 rpm.  Each source is a force or
flow that follows an angle or a speed and passes through a structure of its own; none of it is
the analyser's picture of a signal (no line is placed at a frequency: it comes from an angle).
"""

from __future__ import annotations

import numpy as np

from spinlab.simulate.parameters import NoiseBand, Parameters
from spinlab.simulate.streams import Samples, gain, stream
from spinlab.simulate.structure import convolve, modal_response, shaped_noise_response
from spinlab.simulate.timebase import Timebase
from spinlab.simulate.waves import read_wave, wave_table

REFERENCE_HZ = 20.0  # drum turns per second at which levels are stated: 1200 rpm
DRUM_ORDERS = 30
ANGLE_JITTER_TURNS = 0.004


def growth(base: Timebase, exponent: float) -> Samples:
    """How a source's amplitude grows with the drum's speed; 1 at 1200 rpm."""
    result: Samples = (base.speed_hz * np.float32(1.0 / REFERENCE_HZ)) ** np.float32(exponent)
    return result


def broadband(p: Parameters, base: Timebase) -> Samples:
    """Air, water and rolling noise without a tie to the drum's angle, but with turbulence."""
    response = shaped_noise_response(
        stream(base.seed, "noise shape"),
        base.rate_hz,
        tilt_db_per_octave=p.voice.noise_tilt_db_per_octave,
        ripple_db=3.0,
    )
    noise = convolve(base.white("broadband"), response)
    gusts = np.maximum(1.0 + p.voice.turbulence * base.slow("gusts", 3.0), 0.1)
    result: Samples = noise * gusts * growth(base, p.voice.noise_exponent)
    return result


def modulated_band(band: NoiseBand, name: str, base: Timebase) -> Samples:
    """Band of noise whose strength follows the drum's angle (a rub, a pumping gap, an off-centre
    fan): 1 + index cos(angle) + second cos(2 angle), with slow drift of depth and phase."""
    from scipy.signal import butter, sosfilt

    rng = stream(base.seed, name)
    half = 2.0 ** (0.5 * band.width_octaves)
    low = min(band.centre_hz / half, 0.4 * base.rate_hz)
    high = min(band.centre_hz * half, 0.48 * base.rate_hz)
    sections = butter(2, [low, high], "bandpass", fs=base.rate_hz, output="sos")
    carrier = sosfilt(sections.astype(np.float32), base.white(name))
    scale = gain(band.level_db) / max(float(np.std(carrier)), 1e-9)
    table = wave_table(
        {1: band.index, 2: band.second_index, 3: 0.15 * band.index * rng.random()}, rng
    )
    power = band.index**2 + band.second_index**2
    depth = np.float32(np.sqrt(0.5 * power)) * (1.0 + 0.2 * base.slow(name + " depth", 0.3))
    phase = base.turns + ANGLE_JITTER_TURNS * base.slow(name + " phase", 2.0)
    envelope = np.maximum(1.0 + depth * read_wave(table, phase), 0.0)
    gusts = np.maximum(1.0 + 0.1 * base.slow(name + " gusts", 3.0), 0.1)
    result: Samples = np.float32(scale) * carrier * envelope * gusts * growth(base, band.exponent)
    return result


def motor_orders(p: Parameters, rng: np.random.Generator) -> dict[int, float]:
    """Orders of the motor's shaft with random strength (healthy motor).

    Torque ripple 6 k p and slot passing for a fed three-phase machine, bars and slots for a
    commutator machine (handbook knowledge; no published source read).
    """
    drive = p.drive

    def some(level_db: float, scatter_db: float = 5.0) -> float:
        return gain(level_db + rng.normal(0.0, scatter_db))

    orders = {1: some(-10.0), 2: some(-16.0), 3: some(-24.0)}
    if drive.kind == "brushed":
        counts = {drive.commutator_bars: 0.0, 2 * drive.commutator_bars: -9.0}
        counts |= {drive.slots: -6.0, 2 * drive.slots: -14.0}
    else:
        ripple = 6 * drive.pole_pairs
        counts = {ripple: 0.0, 2 * ripple: -6.0, 3 * ripple: -14.0}
        counts |= {2 * drive.pole_pairs: -10.0, drive.slots: -6.0}
    for count, level in counts.items():
        if 0 < count < 1000:
            orders[count] = orders.get(count, 0.0) + some(level)
    if drive.fan_blades:
        orders[drive.fan_blades] = orders.get(drive.fan_blades, 0.0) + some(-4.0)
    return orders


def motor(p: Parameters, base: Timebase) -> Samples:
    """Tones of the motor's shaft through casting and panels; mains torque for a brushed one."""
    rng = stream(base.seed, "motor")
    table = wave_table(motor_orders(p, rng), rng)
    phase = base.motor_turns + 0.003 * base.slow("motor phase", 1.0)
    strength = growth(base, p.voice.motor_fall) * (0.6 + 0.4 * base.load)
    strength *= np.maximum(1.0 + 0.15 * base.slow("motor drift", 0.5), 0.1)
    force = read_wave(table, phase) * strength
    if p.drive.kind == "brushed":
        twice = 2.0 * p.surroundings.mains_hz * base.time_s
        ripple = read_wave(wave_table({1: 1.0, 2: 0.2}, rng), twice)
        force *= 1.0 + np.float32(p.drive.mains_torque_share) * ripple
        force += np.float32(0.5 * p.drive.mains_torque_share) * ripple * base.load
    elif p.drive.carrier_hz and p.drive.carrier_hz < 0.45 * base.rate_hz:
        electrical = 2.0 * p.drive.pole_pairs * base.motor_turns
        sidebands = wave_table({1: 1.0}, rng)
        carrier = read_wave(sidebands, p.drive.carrier_hz * base.time_s)
        force += np.float32(0.3) * carrier * read_wave(sidebands, electrical) * base.load
    response = modal_response(
        stream(base.seed, "motor casting"),
        base.rate_hz,
        low_hz=200.0,
        high_hz=6000.0,
        modes=36,
        damping=(0.01, 0.05),
        direct=0.3,
    )
    return convolve(force * np.float32(gain(p.voice.motor_db)), response)


def drum_orders(p: Parameters, base: Timebase) -> Samples:
    """Unbalance, lifters and seal shake the cabinet: drum orders heard through its panels."""
    rng = stream(base.seed, "drum orders")
    size = {k: k**-0.6 * gain(rng.normal(0.0, 6.0)) for k in range(1, DRUM_ORDERS + 1)}
    for k in range(p.drum.lifters, DRUM_ORDERS + 1, max(p.drum.lifters, 1)):
        size[k] *= 1.5
    size[1] *= 1.0 + 10.0 * p.unbalance.mass_kg
    phase = base.turns + ANGLE_JITTER_TURNS * base.slow("drum phase", 2.0)
    drift = np.maximum(1.0 + 0.25 * base.slow("drum drift", 0.5), 0.1)
    force = read_wave(wave_table(size, rng), phase) * drift * growth(base, 1.6)
    response = modal_response(
        stream(base.seed, "cabinet"),
        base.rate_hz,
        low_hz=40.0,
        high_hz=300.0,
        modes=12,
        damping=(0.02, 0.08),
        direct=0.02,
    )
    return convolve(force * np.float32(gain(p.voice.drum_orders_db)), response)


def belt(p: Parameters, base: Timebase) -> Samples:
    """The belt's splice and wear pass once per belt length: pi D / L per drum turn."""
    if p.drive.kind == "direct":
        return np.zeros(base.count, dtype=np.float32)
    rng = stream(base.seed, "belt")
    passes = base.turns * (np.pi * p.belt.drum_pulley_m / p.belt.length_m)
    size = {k: k**-0.5 * gain(rng.normal(0.0, 4.0)) for k in range(1, 25)}
    force = read_wave(wave_table(size, rng), passes) * growth(base, 1.2)
    level = gain(p.voice.belt_db) * (1.0 + 20.0 * p.belt.defect)
    response = modal_response(
        stream(base.seed, "belt guard"),
        base.rate_hz,
        low_hz=60.0,
        high_hz=800.0,
        modes=12,
        damping=(0.02, 0.08),
        direct=0.05,
    )
    return convolve(force * np.float32(level), response)


def machine_sound(p: Parameters, base: Timebase) -> Samples:
    """All sources of the machine together, shape (n,)."""
    total = broadband(p, base)
    for number, band in enumerate(p.voice.bands):
        total += modulated_band(band, f"band {number}", base)
    for source in (motor, drum_orders, belt):
        total += source(p, base)
    return total
