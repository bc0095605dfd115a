"""The sound of a machine, source by source, at the place of the microphone.

Unit: 1.0 is the RMS of the machine's own broadband noise at 1200 rpm.  Each source is a force or
flow that follows an angle or a speed and passes through a structure of its own; none of it is
the analyser's picture of a signal (no line is placed at a frequency: it comes from an angle).
"""

from __future__ import annotations

import numpy as np

from spinlab.simulate.bearings import bearing_sound
from spinlab.simulate.belt_sound import belt
from spinlab.simulate.knocking import knocking
from spinlab.simulate.motor_sound import motor
from spinlab.simulate.parameters import NoiseBand, Parameters
from spinlab.simulate.streams import Samples, gain, stream
from spinlab.simulate.structure import convolve, modal_response, shaped_noise_response
from spinlab.simulate.suspension import TubMotion
from spinlab.simulate.timebase import Timebase, growth
from spinlab.simulate.waves import read_wave, wave_table

DRUM_ORDERS = 30
ANGLE_JITTER_TURNS = 0.004
SLOSH_HZ = 0.7  # drum turns per second at which the water slaps most


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


def slosh(p: Parameters, base: Timebase) -> Samples:
    """Water thrown about by the lifters during the wash; it ends as the drum spins up."""
    if p.voice.slosh_db is None:
        return np.zeros(base.count, dtype=np.float32)
    rng = stream(base.seed, "slosh")
    shape = shaped_noise_response(rng, base.rate_hz, tilt_db_per_octave=-4.0, ripple_db=4.0)
    table = wave_table({p.drum.lifters: 0.7, 2 * p.drum.lifters: 0.3, 1: 0.3}, rng)
    slap = np.maximum(1.0 + 0.7 * read_wave(table, base.turns), 0.0)
    slap *= np.maximum(1.0 + 0.5 * base.slow("slosh", 2.0), 0.0)
    share = base.speed_hz / np.float32(SLOSH_HZ)
    share *= np.exp(1.0 - share)
    level = np.float32(gain(p.voice.slosh_db))
    wet: Samples = convolve(base.white("slosh"), shape) * slap * share * level
    return wet


def machine_sound(p: Parameters, base: Timebase, tub: TubMotion) -> Samples:
    """All sources of the machine together, shape (n,)."""
    total = broadband(p, base)
    for number, band in enumerate(p.voice.bands):
        total += modulated_band(band, f"band {number}", base)
    for source in (motor, drum_orders, belt, slosh):
        total += source(p, base)
    for number, fault in enumerate(p.bearings):
        total += bearing_sound(fault, number, base)
    return total + knocking(p, base, tub)
