"""The belt: its own passing rate, damage, and the squeal of slip."""

from __future__ import annotations

import numpy as np

from spinlab.simulate.parameters import Parameters
from spinlab.simulate.streams import Samples, gain, stream
from spinlab.simulate.structure import convolve, modal_response
from spinlab.simulate.timebase import Timebase, growth
from spinlab.simulate.waves import read_wave, wave_table

SQUEAL_ONSET = 0.02  # slip above which rubber sticks and slips
FULL_SQUEAL = 0.06
DAMAGE_GAIN = 25.0


def belt_passes(p: Parameters, base: Timebase) -> np.ndarray:
    """Belt lengths gone by: pi D / L per drum turn, shape (n,)."""
    return base.turns * (np.pi * p.belt.drum_pulley_m / p.belt.length_m)


def belt_passing(p: Parameters, base: Timebase) -> Samples:
    """Splice and wear pass the pulleys once per belt length; damage makes it a slap."""
    rng = stream(base.seed, "belt")
    size = {k: k**-0.5 * gain(rng.normal(0.0, 4.0)) for k in range(1, 25)}
    force = read_wave(wave_table(size, rng), belt_passes(p, base)) * growth(base, 1.2)
    level = gain(p.voice.belt_db) * (1.0 + DAMAGE_GAIN * p.belt.defect)
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


def squeal(p: Parameters, base: Timebase) -> Samples:
    """Stick-slip of rubber: a raw tone with overtones whose pitch wanders, only while it slips."""
    rng = stream(base.seed, "squeal")
    start_hz = rng.uniform(380.0, 900.0)
    pitch = start_hz * (1.0 + 0.06 * base.slow("squeal pitch", 1.5).astype(np.float64))
    table = wave_table({k: 1.0 / k for k in range(1, 9)}, rng)
    tone = read_wave(table, np.cumsum(pitch) / base.rate_hz)
    share = np.clip((base.creep - SQUEAL_ONSET) / (FULL_SQUEAL - SQUEAL_ONSET), 0.0, 1.0)
    broken = np.maximum(1.0 + 0.6 * base.slow("squeal level", 5.0), 0.0)
    cry: Samples = np.float32(2.0 * p.belt.squeal) * tone * share * broken
    return cry


def belt(p: Parameters, base: Timebase) -> Samples:
    """All that the belt adds at the microphone, shape (n,); nothing for a direct drive."""
    if p.drive.kind == "direct":
        return np.zeros(base.count, dtype=np.float32)
    heard = belt_passing(p, base)
    return heard + squeal(p, base) if p.belt.squeal else heard
