"""Speeds over time for tests: drawn as straight lines, or turned by the simulated drum.

A frame's speed is the mean over `FRAME_S`, as a tracker sees it; noise is added here.
"""

from dataclasses import replace

import numpy as np

from spinlab.simulate import spin_test
from spinlab.simulate.dynamics import integrate
from spinlab.simulate.programme import command
from spinlab.simulate.truth import FileClock, stage_truth
from spinlab.speed.motion import classify
from spinlab.speed.track import SpeedTrack

HOP_S = 0.3
FRAME_S = 1.0


def drawn(*corners, noise=0.0, seed=0):
    """Speed along straight lines through (s, rpm) corners, with noise as a share of it."""
    corner = np.array(corners, dtype=float)
    time_s = np.arange(corner[0, 0], corner[-1, 0], HOP_S)
    speed = np.interp(time_s, corner[:, 0], corner[:, 1])
    sigma = noise * speed
    return time_s, speed + sigma * np.random.default_rng(seed).normal(size=len(speed)), sigma


def turned(parameters, *, noise, seed):
    """The simulated drum's speed in frames, as a tracker would see it, and its true plateaus."""
    programme = parameters.programme or spin_test()
    parameters = replace(parameters, programme=programme)
    orders = command(programme)
    motion = integrate(parameters, orders, seed)
    time_s = np.arange(0.5 * FRAME_S, motion.time_s[-1] - 0.5 * FRAME_S, HOP_S)
    turns = np.concatenate([[0.0], np.cumsum(60.0 * np.abs(motion.rate_hz))]) / 500.0
    edges = np.arange(len(turns)) / 500.0
    speed = np.interp(time_s + 0.5 * FRAME_S, edges, turns)
    speed = (speed - np.interp(time_s - 0.5 * FRAME_S, edges, turns)) / FRAME_S
    sigma = noise * speed
    speed = np.where(speed < 3.0, 0.0, speed)
    speed = np.abs(speed + sigma * np.random.default_rng(seed).normal(size=len(speed)))
    clock = FileClock(start_s=0.0, error_ppm=0.0)
    spins = [span for span in orders.spans if span.step.kind == "spin"]
    stages = [stage_truth(span, motion, clock, float(motion.time_s[-1])) for span in spins]
    return time_s, speed, sigma, [stage for stage in stages if stage.start_s is not None]


def track_of(time_s, speed, sigma, **more):
    """A track with these speeds, sure of every frame that it knows."""
    known = np.isfinite(speed)
    fields = {
        "standard_uncertainty_rpm": np.where(known, np.maximum(sigma, 1e-4 * speed), np.nan),
        "confidence": np.where(known, 0.95, 0.0),
        "motion": classify(time_s, speed, sigma),
        "carried_by": np.where(known, "drum orders", ""),
    }
    return SpeedTrack(time_s=time_s, speed_rpm=speed, **(fields | more))


def track_through(*corners, noise=0.0005, seed=0, **more):
    """A track along straight lines through (s, rpm) corners."""
    return track_of(*drawn(*corners, noise=noise, seed=seed), **more)
