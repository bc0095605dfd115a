"""Speed tracks made from the simulator's truth, so that a measurement is judged by itself."""

from __future__ import annotations

import numpy as np

from spinlab.simulate import Simulated, Truth
from spinlab.speed.track import Estimate, SpeedTrack

FRAME_S = 0.1


def true_track(
    simulated: Simulated, *, error_percent: float = 0.1, slowest_rpm: float = 0.0
) -> SpeedTrack:
    """The drum's true speed on frames of 0.1 s, stated with `error_percent` of uncertainty.

    Below `slowest_rpm` the speed counts as unknown, as it would for a tracker that hears too
    little there.
    """
    truth: Truth = simulated.truth
    time = np.arange(truth.time_s[0], truth.time_s[-1], FRAME_S)
    speed = np.interp(time, truth.time_s, truth.speed_rpm)
    slope = np.gradient(speed, time)
    known = speed >= max(slowest_rpm, 5.0)
    motion = np.where(np.abs(slope) > 8.0, "ramp", "plateau").astype("<U12")
    motion[(speed < 150.0) & known] = "distribution"
    motion[_coasting(speed, slope, time)] = "coasting"
    motion[speed < 5.0] = "rest"
    values = np.where(known, speed, np.where(speed < 5.0, 0.0, np.nan))
    parameters = truth.parameters
    ratio = None
    if parameters.drive.kind != "direct":
        ratio = Estimate(value=truth.motor_ratio, standard_uncertainty=0.0005 * truth.motor_ratio)
    return SpeedTrack(
        time_s=time,
        speed_rpm=values,
        standard_uncertainty_rpm=np.maximum(0.01 * error_percent * speed, 0.2),
        confidence=np.ones(len(time)),
        motion=motion,
        carried_by=np.full(len(time), "truth"),
        motor_ratio=ratio,
        mains_hz=Estimate(value=truth.mains_hz, standard_uncertainty=0.02),
    )


def _coasting(speed: np.ndarray, slope: np.ndarray, time: np.ndarray) -> np.ndarray:
    """Frames after the last fast one, while the speed falls."""
    fast = np.flatnonzero(speed > 300.0)
    after = np.zeros(len(speed), dtype=bool)
    if len(fast):
        top = fast[-1]
        while top > 0 and slope[top] < -3.0:
            top -= 1
        after[top:] = True
    return after & (slope < -3.0) & (time > time[0])
