"""Damaged rolling bearings: who strikes what, when, and how hard.

Kinematics of a bearing whose outer ring stands still, k = (d / D) cos(contact angle):
the cage turns (1 - k)/2 times per shaft turn; a ball spins (1 - k^2)/(2k) times.  From this
follow the passings, by counting balls, not by placing a line at a frequency.  Slip and the
scatter of the intervals follow Randall and Antoni, MSSP 25 (2011) 485-520,
DOI 10.1016/j.ymssp.2010.07.017; the load zone is Stribeck's, with weight and belt pull standing
still and the unbalance turning.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.dynamics import STATE_RATE_HZ
from spinlab.simulate.events import Events, at_angles, render, travelled
from spinlab.simulate.machine_parameters import BearingFault
from spinlab.simulate.streams import Samples, stream
from spinlab.simulate.structure import convolve, modal_response
from spinlab.simulate.timebase import REFERENCE_HZ, Timebase

STANDING_LOAD_N = 260.0  # drum's weight and belt pull; common practice, no published source
PRELOAD = 0.25  # share of the standing load that is felt outside the load zone
LOAD_EXPONENT = 1.5  # Hertzian point contact
FULL_STRENGTH = 6.0  # peak of a gross fault's knock at 1200 rpm, in units of the machine's noise
SPEED_EXPONENT = 1.3
CAGE_JITTER = 0.05
GRINDING_STRENGTH = 1.6  # RMS of gross grinding at 1200 rpm


def cage_share(fault: BearingFault) -> float:
    """Cage turns per shaft turn without slip."""
    k = fault.ball_diameter_mm / fault.pitch_diameter_mm
    return 0.5 * (1.0 - k * float(np.cos(np.radians(fault.contact_angle_deg))))


def spin_share(fault: BearingFault) -> float:
    """Ball spins per shaft turn without slip."""
    k = fault.ball_diameter_mm / fault.pitch_diameter_mm
    k *= float(np.cos(np.radians(fault.contact_angle_deg)))
    return (1.0 - k * k) / (2.0 * k)


def strikes_per_turn(fault: BearingFault) -> float:
    """How often the damaged part is struck per shaft turn, slip included."""
    cage, keep = cage_share(fault), 1.0 - 0.01 * fault.slip_percent
    per_turn = {
        "outer": fault.balls * cage * keep,
        "inner": fault.balls * (1.0 - cage * keep),
        "ball": 2.0 * spin_share(fault) * keep,
        "cage": cage * keep,
        "grinding": fault.balls * cage * keep,
    }
    return per_turn[fault.part]


def _load(
    angle_turns: NDArray[np.float64],
    time_s: NDArray[np.float64],
    base: Timebase,
    *,
    turning_share: float,
) -> NDArray[np.float64]:
    """Load at an angle of the bearing, over the standing load, to Hertz's power."""
    motion = base.motion
    force = np.interp(time_s, motion.time_s, motion.unbalance_force_n) * turning_share
    heavy = np.interp(time_s, motion.time_s, motion.heavy_turns)
    turning = force * np.cos(2.0 * np.pi * (angle_turns - heavy))
    standing = STANDING_LOAD_N * np.cos(2.0 * np.pi * (angle_turns + 0.25))
    carried = np.maximum((turning + standing) / STANDING_LOAD_N, 0.0) + PRELOAD
    share: NDArray[np.float64] = np.minimum(carried, 4.0) ** LOAD_EXPONENT
    return share


def strikes(fault: BearingFault, base: Timebase, rng: np.random.Generator) -> Events:
    """Every blow of a fault, in machine time, with its strength."""
    motion = base.motion
    on_motor = fault.place.startswith("motor")
    rate = motion.motor_rate_hz if on_motor else motion.rate_hz
    turned = travelled(rate, STATE_RATE_HZ)
    mean = 1.0 / strikes_per_turn(fault)
    jitter = CAGE_JITTER if fault.part == "cage" else 0.01 * fault.jitter_percent
    count = int(turned[-1] / mean)
    gaps = mean * np.maximum(1.0 + jitter * rng.standard_normal(count), 0.1)
    angles = rng.random() * mean + np.cumsum(gaps)
    angles = angles[angles < turned[-1]]
    time_s = at_angles(angles, turned, motion.time_s)
    shaft = np.interp(time_s, motion.time_s, motion.motor_turns if on_motor else motion.turns)
    where = {
        "outer": np.full_like(angles, -0.25 + rng.uniform(-0.12, 0.12)),
        "inner": shaft + rng.random(),
        "ball": shaft * cage_share(fault) + rng.random(),
        "cage": shaft * cage_share(fault),
        "grinding": shaft,
    }[fault.part]
    share = 0.05 if on_motor else 1.0
    strength = _load(where, time_s, base, turning_share=share)
    speed = np.interp(time_s, motion.time_s, np.abs(motion.rate_hz)) / REFERENCE_HZ
    strength *= FULL_STRENGTH * fault.severity * speed**SPEED_EXPONENT
    strength *= np.exp(0.2 * rng.standard_normal(len(angles)))
    if fault.part == "ball":
        strength *= _tumbling(time_s, rng)
    return Events(time_s=time_s, strength=strength)


def _tumbling(time_s: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """A ball's spin axis wanders, so that its spot is struck now strongly, now not at all."""
    if len(time_s) == 0:
        return np.ones(0)
    knots = np.arange(time_s[0], time_s[-1] + 1.0, 0.5)
    share: NDArray[np.float64] = np.interp(time_s, knots, rng.uniform(0.15, 1.0, len(knots)))
    return share


def _grinding(fault: BearingFault, base: Timebase, ringing: Samples, name: str) -> Samples:
    """Late stage: worn rings roar; the roar follows cage, balls and shaft at random."""
    rng = stream(base.seed, name + " grinding")
    turns = base.motor_turns if fault.place.startswith("motor") else base.turns
    depth = np.ones(base.count, dtype=np.float32)
    orders = (1.0, cage_share(fault), fault.balls * cage_share(fault))
    for order, index in zip(orders, rng.uniform(0.05, 0.35, 3), strict=True):
        wave = np.cos(2.0 * np.pi * np.mod(order * turns, 1.0)).astype(np.float32)
        depth += np.float32(index) * wave
    depth *= np.maximum(1.0 + 0.3 * base.slow(name + " depth", 2.0), 0.1)
    speed = (base.speed_hz / np.float32(REFERENCE_HZ)) ** np.float32(SPEED_EXPONENT)
    noise = convolve(base.white(name + " roar"), ringing)
    scale = np.float32(GRINDING_STRENGTH * fault.severity / max(float(np.std(noise)), 1e-9))
    roar: Samples = noise * np.maximum(depth, 0.0) * speed * scale
    return roar


def bearing_sound(fault: BearingFault, number: int, base: Timebase) -> Samples:
    """One damaged bearing at the microphone, shape (n,)."""
    name = f"bearing {number}"
    rng = stream(base.seed, name)
    top = 8000.0 if fault.place != "rear drum" else 6500.0
    low = min(2000.0, 0.2 * base.rate_hz)
    ringing = modal_response(
        stream(base.seed, name + " seat"),
        base.rate_hz,
        low_hz=low if fault.part != "grinding" else 0.5 * low,
        high_hz=top,
        modes=7 if fault.part != "grinding" else 24,
        damping=(0.01, 0.04) if fault.part != "grinding" else (0.03, 0.15),
    )
    if fault.part == "grinding":
        return _grinding(fault, base, ringing, name)
    return render(strikes(fault, base, rng), ringing, base)
