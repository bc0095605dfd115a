"""The motor: tones of its shaft, mains torque, inverter carrier, brushes, and its faults."""

from __future__ import annotations

import numpy as np

from spinlab.simulate.parameters import Drive, Parameters
from spinlab.simulate.streams import Samples, gain, stream
from spinlab.simulate.structure import convolve, modal_response
from spinlab.simulate.timebase import Timebase, growth
from spinlab.simulate.waves import read_wave, wave_table

HIGHEST_ORDER = 1000
LOST_PHASE_GROWL = 8.0  # amplitude of order 2p with a phase gone, over a usual ripple order
HALL_BEAT = 2.5
BRUSH_DB = -24.0  # healthy brush noise below the motor's tones' level reference
ARCING_GAIN = 3.0


def healthy_orders(drive: Drive, rng: np.random.Generator) -> dict[int, float]:
    """Orders of the motor's shaft with random strength.

    Torque ripple 6 k p and slot passing for a fed three-phase machine, bars and slots for a
    commutator machine (handbook knowledge; no published source read).
    """

    def some(level_db: float) -> float:
        return gain(level_db + rng.normal(0.0, 5.0))

    orders = {1: some(-10.0), 2: some(-16.0), 3: some(-24.0)}
    if drive.kind == "brushed":
        counts = {drive.commutator_bars: 0.0, 2 * drive.commutator_bars: -9.0}
        counts |= {drive.slots: -6.0, 2 * drive.slots: -14.0}
    else:
        ripple = 6 * drive.pole_pairs
        counts = {ripple: 0.0, 2 * ripple: -6.0, 3 * ripple: -14.0}
        counts |= {2 * drive.pole_pairs: -10.0, drive.slots: -6.0}
    if drive.fan_blades:
        counts[drive.fan_blades] = -4.0
    for count, level in counts.items():
        if 0 < count < HIGHEST_ORDER:
            orders[count] = orders.get(count, 0.0) + some(level)
    return orders


def faulty_orders(drive: Drive, rng: np.random.Generator) -> dict[int, float]:
    """What a lost phase (torque pulsing at 2p) or a misplaced position sensor (p and its
    multiples, and the shaft's own orders where pole pairs differ) adds."""
    added: dict[int, float] = {}
    pairs = drive.pole_pairs
    if drive.lost_phase:
        for k, share in ((1, 1.0), (2, 0.4), (3, 0.2)):
            added[2 * pairs * k] = LOST_PHASE_GROWL * drive.lost_phase * share
    if drive.hall_error:
        for k in range(1, 6):
            strength = HALL_BEAT * drive.hall_error * gain(rng.normal(-3.0 * (k - 1), 2.0))
            added[pairs * k] = added.get(pairs * k, 0.0) + strength
    return {order: size for order, size in added.items() if order < HIGHEST_ORDER}


def _mains_torque(p: Parameters, base: Timebase, force: Samples) -> Samples:
    """A commutator motor on the mains pulls with twice its frequency; its tones follow."""
    rng = stream(base.seed, "mains torque")
    twice = 2.0 * p.surroundings.mains_hz * base.time_s
    ripple = read_wave(wave_table({1: 1.0, 2: 0.2}, rng), twice) * np.sqrt(base.load)
    share = np.float32(p.drive.mains_torque_share)
    pulled: Samples = force * (1.0 + share * ripple) + np.float32(0.5) * share * ripple
    return pulled


def _carrier(p: Parameters, base: Timebase) -> Samples:
    """Switching tones: the carrier with sidebands at twice the electrical frequency."""
    electrical = 2.0 * p.drive.pole_pairs * base.motor_turns
    wave = wave_table({1: 1.0}, stream(base.seed, "carrier"))
    tone = read_wave(wave, p.drive.carrier_hz * base.time_s) * read_wave(wave, electrical)
    whistle: Samples = np.float32(0.3) * tone * np.sqrt(base.load)
    return whistle


def brushes(p: Parameters, base: Timebase) -> Samples:
    """Brush hiss in time with the bars; arcing adds heavy-tailed crackle at the mains' peaks."""
    rng = stream(base.seed, "brushes")
    drive = p.drive
    bars = np.maximum(
        read_wave(
            wave_table({drive.commutator_bars: 1.0}, rng),
            base.motor_turns,
        ),
        0.0,
    )
    hiss = np.float32(gain(BRUSH_DB)) * base.white("brush hiss")
    if drive.arcing:
        spark = base.white("arcing") ** 3 * (stream(base.seed, "gate").random(base.count) < 0.1)
        peaks = np.abs(np.sin(2.0 * np.pi * p.surroundings.mains_hz * base.time_s)) ** 2
        uneven = np.maximum(1.0 + 0.6 * base.slow("arcing", 3.0), 0.0)
        hiss += np.float32(ARCING_GAIN * drive.arcing) * spark * peaks.astype(np.float32) * uneven
    ringing = modal_response(
        rng,
        base.rate_hz,
        low_hz=min(1500.0, 0.15 * base.rate_hz),
        high_hz=12000.0,
        modes=20,
        damping=(0.03, 0.1),
        direct=0.2,
    )
    return convolve((hiss * bars * np.sqrt(base.load)).astype(np.float32), ringing)


def motor(p: Parameters, base: Timebase) -> Samples:
    """Tones of the motor's shaft through casting and panels, shape (n,)."""
    drive, rng = p.drive, stream(base.seed, "motor")
    orders = healthy_orders(drive, rng)
    usual = float(np.sqrt(sum(size**2 for size in orders.values())))
    added = faulty_orders(drive, rng)
    for order, size in added.items():
        orders[order] = orders.get(order, 0.0) + size
    louder = float(np.sqrt(sum(size**2 for size in orders.values()))) / usual
    phase = base.motor_turns + 0.003 * base.slow("motor phase", 1.0)
    strength = growth(base, p.voice.motor_fall) * (0.6 + 0.4 * base.load) * np.float32(louder)
    strength *= np.maximum(1.0 + 0.15 * base.slow("motor drift", 0.5), 0.1)
    force = read_wave(wave_table(orders, rng), phase) * strength
    if drive.kind == "brushed":
        force = _mains_torque(p, base, force)
    elif 0.0 < drive.carrier_hz < 0.45 * base.rate_hz:
        force += _carrier(p, base)
    response = modal_response(
        stream(base.seed, "motor casting"),
        base.rate_hz,
        low_hz=200.0,
        high_hz=6000.0,
        modes=36,
        damping=(0.01, 0.05),
        direct=0.3,
    )
    heard = convolve(force.astype(np.float32), response)
    if drive.kind == "brushed":
        heard += brushes(p, base)
    return heard * np.float32(gain(p.voice.motor_db))
