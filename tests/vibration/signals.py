"""Signals made for these tests from closed forms: none of it is measured."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from spinlab.recording import Recording, SampleClock
from spinlab.speed.track import Estimate, SpeedTrack

SHARED = Path(os.environ.get("SPINLAB_SHARED", Path(__file__).parents[3] / "shared"))


def track_of(time_s, speed_rpm, *, uncertainty_rpm=0.5, motion=None, **extra) -> SpeedTrack:
    """A track that is as given, with equal confidence everywhere."""
    time_s, speed_rpm = np.asarray(time_s, float), np.asarray(speed_rpm, float)
    n = len(time_s)
    if motion is None:
        slope = np.gradient(speed_rpm, time_s) if n > 1 else np.zeros(n)
        motion = np.where(speed_rpm <= 0, "rest", np.where(np.abs(slope) > 5, "ramp", "plateau"))
    return SpeedTrack(
        time_s=time_s,
        speed_rpm=speed_rpm,
        standard_uncertainty_rpm=np.full(n, float(uncertainty_rpm)),
        confidence=np.ones(n),
        motion=np.asarray(motion, dtype=np.str_),
        carried_by=np.full(n, "first order"),
        **extra,
    )


def log_of(samples, rate_hz, *, names=("x", "y", "z"), jitter_s=0.0) -> Recording:
    """An acceleration recording of shape (channels, n)."""
    samples = np.atleast_2d(np.asarray(samples, dtype=np.float32))
    return Recording(
        kind="acceleration",
        samples=samples,
        rate_hz=rate_hz,
        channel_names=tuple(names[: len(samples)]),
        clock=SampleClock(
            median_step_s=1 / rate_hz,
            jitter_s=jitter_s,
            duplicates=0,
            backward_steps=0,
            longest_gap_s=2 / rate_hz,
        ),
    )


def sound_of(samples, rate_hz) -> Recording:
    """A sound recording of shape (channels, n)."""
    return Recording(
        kind="sound",
        samples=np.atleast_2d(np.asarray(samples, dtype=np.float32)),
        rate_hz=rate_hz,
        channel_names=("mono",),
    )


def ramp(duration_s, start_rpm, end_rpm, rate_hz):
    """Time, speed and turns of a linear ramp at a sample rate."""
    t = np.arange(round(duration_s * rate_hz)) / rate_hz
    speed = start_rpm + (end_rpm - start_rpm) * t / duration_s
    turns = (start_rpm * t + 0.5 * (end_rpm - start_rpm) * t**2 / duration_s) / 60.0
    return t, speed, turns


def coarse(t, speed, *, step_s=0.1, **kw):
    """A track on frames of `step_s` from a fine speed curve."""
    frames = np.arange(t[0], t[-1], step_s)
    return track_of(frames, np.interp(frames, t, speed), **kw)


def constant_ratio(value, u):
    """An `Estimate`, for short."""
    return Estimate(value=value, standard_uncertainty=u)
