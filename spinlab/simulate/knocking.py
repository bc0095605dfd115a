"""Things that strike: the tub against the case, a loose counterweight, a coin, walking feet."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.dynamics import STANDARD_GRAVITY, STATE_RATE_HZ
from spinlab.simulate.events import Events, at_angles, render, travelled
from spinlab.simulate.parameters import Parameters
from spinlab.simulate.streams import Samples, stream
from spinlab.simulate.structure import modal_response
from spinlab.simulate.suspension import TubMotion
from spinlab.simulate.timebase import REFERENCE_HZ, Timebase

LOUDEST_KNOCK = 12.0  # in units of the machine's noise at 1200 rpm
FEET_SHARE = 1.0  # of the case's weight that a firm floor lets a swing lift


def peaks_over(
    signal: NDArray[np.float64], limit: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Where |signal| has a local maximum above `limit`, and by what share it exceeds it."""
    size = np.abs(signal)
    inner = size[1:-1]
    top = (inner > limit) & (inner >= size[:-2]) & (inner > size[2:])
    index = np.flatnonzero(top) + 1
    return index, size[index] / limit - 1.0


def tub_strikes(p: Parameters, tub: TubMotion, rng: np.random.Generator) -> Events:
    """The tub meets the case when it swings further than its clearance."""
    swings = [peaks_over(row, p.tub.clearance_m) for row in tub.displacement[:2]]
    index = np.concatenate([found[0] for found in swings])
    strength = np.concatenate([np.minimum(3.0 * found[1] + 0.2, 1.0) for found in swings])
    strength *= LOUDEST_KNOCK * np.exp(0.2 * rng.standard_normal(len(index)))
    return Events(time_s=index / STATE_RATE_HZ, strength=strength)


def walking(p: Parameters, tub: TubMotion, rng: np.random.Generator) -> Events:
    """The feet thump when the springs lift more of the case than the floor's hold allows."""
    pulse = 2.0 * np.pi * p.tub.vertical_hz
    lift = p.tub.mass_kg * pulse**2 * tub.displacement[1]
    hold = FEET_SHARE * p.cabinet.mass_kg * STANDARD_GRAVITY * max(1.0 - p.loose.feet, 0.02)
    index, excess = peaks_over(lift, hold)
    strength: NDArray[np.float64] = (
        LOUDEST_KNOCK * np.minimum(excess, 1.0) * rng.uniform(0.3, 1.0, len(index))
    )
    return Events(time_s=index / STATE_RATE_HZ, strength=strength)


def counterweight(p: Parameters, base: Timebase, rng: np.random.Generator) -> Events:
    """Once per turn, with scatter; sometimes twice, sometimes missed, harder with force."""
    motion = base.motion
    turned = travelled(motion.rate_hz, STATE_RATE_HZ)
    angles = np.arange(1.0, turned[-1]) + rng.normal(
        0.0, 0.02, max(int(np.ceil(turned[-1] - 1)), 0)
    )
    bounced = angles[rng.random(len(angles)) < 0.25] + rng.uniform(0.05, 0.12)
    angles = np.sort(np.concatenate([angles[rng.random(len(angles)) < 0.9], bounced]))
    time_s = at_angles(angles, turned, motion.time_s)
    speed = np.interp(time_s, motion.time_s, np.abs(motion.rate_hz)) / REFERENCE_HZ
    strength = 0.4 * LOUDEST_KNOCK * p.loose.counterweight * speed**2
    return Events(time_s=time_s, strength=strength * np.exp(0.4 * rng.standard_normal(len(angles))))


def coin(p: Parameters, base: Timebase, rng: np.random.Generator) -> Events:
    """A coin slides off each lifter while gravity still beats the centrifugal pull."""
    motion, lifters = base.motion, max(p.drum.lifters, 1)
    turned = travelled(motion.rate_hz, STATE_RATE_HZ)
    angles = np.arange(1.0 / lifters, turned[-1], 1.0 / lifters)
    angles += rng.normal(0.0, 0.06, len(angles))
    angles = np.clip(angles[rng.random(len(angles)) < 0.7], 0.0, turned[-1])
    time_s = at_angles(angles, turned, motion.time_s)
    rate = 2.0 * np.pi * np.interp(time_s, motion.time_s, np.abs(motion.rate_hz))
    falls = rate**2 * p.unbalance.radius_m < STANDARD_GRAVITY
    strength = 0.3 * LOUDEST_KNOCK * p.loose.coin * falls.astype(np.float64)
    return Events(time_s=time_s, strength=strength * np.exp(0.5 * rng.standard_normal(len(angles))))


def knocking(p: Parameters, base: Timebase, tub: TubMotion) -> Samples:
    """All knocks of the machine at the microphone, shape (n,)."""
    total = np.zeros(base.count, dtype=np.float32)
    kinds: dict[str, tuple[Callable[[np.random.Generator], Events], float, float]] = {
        "tub": (lambda rng: tub_strikes(p, tub, rng), 60.0, 900.0),
        "feet": (lambda rng: walking(p, tub, rng), 40.0, 400.0),
    }
    if p.loose.counterweight:
        kinds["counterweight"] = (lambda rng: counterweight(p, base, rng), 90.0, 1500.0)
    if p.loose.coin:
        kinds["coin"] = (lambda rng: coin(p, base, rng), 800.0, 6000.0)
    for name, (happen, low_hz, high_hz) in kinds.items():
        events = happen(stream(base.seed, "knock " + name))
        if len(events.time_s):
            ringing = modal_response(
                stream(base.seed, "ring " + name),
                base.rate_hz,
                low_hz=low_hz,
                high_hz=high_hz,
                modes=16,
                damping=(0.02, 0.1),
            )
            total += render(events, ringing, base)
    return total
