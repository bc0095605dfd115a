"""Impacts locked to a shaft, rung through a resonance, in noise: small signals with known truth."""

from __future__ import annotations

import numpy as np

from spinlab.bearings import BearingGeometry, MountedBearing
from spinlab.recording import Recording
from spinlab.speed.track import Estimate, SpeedTrack

RATE_HZ = 16_000.0
RING_HZ = 4000.0
# An invented bearing whose orders lie far from whole numbers: BPFO 3.556, BPFI 5.444, 2xBSF 4.55.
GEOMETRY = BearingGeometry(
    designation="test", balls=9, ball_diameter_mm=8.4, pitch_diameter_mm=40.0, exact=True
)
REAR = MountedBearing(name="rear drum bearing", geometry=GEOMETRY)

STEADY = ((0.0, 1200.0), (20.0, 1200.0))
STAGES = ((0.0, 400.0), (8.0, 400.0), (12.0, 800.0), (20.0, 800.0), (25.0, 1300.0), (34.0, 1300.0))


def track(points=STEADY, *, ratio=None, uncertainty=0.001, scale="absolute"):
    """Speed over time through (s, rpm) points; slopes are ramps, the rest plateaus."""
    time = np.arange(points[0][0], points[-1][0] + 0.05, 0.1)
    speed = np.interp(time, *zip(*points, strict=True))
    steep = np.abs(np.gradient(speed, time)) > 5.0
    return SpeedTrack(
        time_s=time,
        speed_rpm=speed,
        standard_uncertainty_rpm=uncertainty * speed,
        confidence=np.ones(len(time)),
        motion=np.where(steep, "ramp", "plateau"),
        carried_by=np.full(len(time), "given"),
        scale=scale,
        motor_ratio=None if ratio is None else Estimate(value=ratio, standard_uncertainty=0.005),
    )


def times_of(speed_track):
    start, end = speed_track.time_s[0], speed_track.time_s[-1]
    return start + np.arange(int((end - start) * RATE_HZ)) / RATE_HZ


def noise(speed_track, seed=0):
    return np.random.default_rng(seed).standard_normal(len(times_of(speed_track)))


def impacts(speed_track, order, *, strength=4.0, slip=0.005, load=None, seed=1, ring_hz=RING_HZ):
    """Blows at `order` per drum turn with random slip, rung through one resonance.

    `load` (turns -> factor) weighs each blow, as a load zone does.
    """
    rng = np.random.default_rng(seed)
    t = times_of(speed_track)
    turns = speed_track.turns_at(t)
    count = int(turns[-1] * order)
    at = np.cumsum((1.0 + slip * rng.standard_normal(count)) / order)
    at = at[at < turns[-1]]
    values = np.zeros(len(t))
    place = np.searchsorted(turns, at)
    factor = np.ones(len(at)) if load is None else load(at)
    np.add.at(values, place[place < len(t)], strength * factor[place < len(t)])
    k = np.arange(160)
    ring = np.exp(-k / 25.0) * np.sin(2 * np.pi * ring_hz / RATE_HZ * k)
    return np.convolve(values, ring)[: len(t)]


def clicks_at_hz(speed_track, rate_hz, *, strength=4.0):
    """The same blows at one frequency, whatever the drum does."""
    t = times_of(speed_track)
    values = np.zeros(len(t))
    values[(np.arange(0.0, t[-1] - t[0], 1.0 / rate_hz) * RATE_HZ).astype(int)] = strength
    k = np.arange(160)
    ring = np.exp(-k / 25.0) * np.sin(2 * np.pi * RING_HZ / RATE_HZ * k)
    return np.convolve(values, ring)[: len(t)]


def recording(values, *, kind="sound", rate_hz=RATE_HZ, start_s=0.0):
    return Recording(
        kind=kind,
        samples=(0.05 * np.atleast_2d(values)).astype(np.float32),
        rate_hz=rate_hz,
        start_s=start_s,
    )
