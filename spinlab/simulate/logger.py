"""The phone as an accelerometer on the machine's case.

Springs and dampers of the tub pull at the case on its feet; the panel under the phone adds its
own vibration from drum, motor, belt and bearings.  The sensor reads at uneven instants, without
an anti-alias filter, clips, rounds, and is turned against gravity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording, SampleClock, Source
from spinlab.simulate.dynamics import STANDARD_GRAVITY, STATE_RATE_HZ
from spinlab.simulate.machine_sound import machine_sound
from spinlab.simulate.parameters import Parameters
from spinlab.simulate.streams import stream
from spinlab.simulate.suspension import TubMotion, damped_mode
from spinlab.simulate.timebase import Timebase

PANEL_RATE_HZ = 16000
PANEL_SHAKE_M_S2 = 0.25  # panel vibration for sound of one unit, at the sensor
SENSOR_CORNER_HZ = 1500.0  # of the sensing element; its readout has no filter of its own
GAINS = {  # lateral, fore-aft, vertical: how much of the case's motion reaches the place
    "lid": (1.0, 0.8, 1.0),
    "side": (0.7, 0.3, 0.8),
    "front": (0.4, 0.6, 0.8),
}
PANEL_NORMAL = {"lid": 2, "side": 0, "front": 1}


@dataclass(frozen=True, kw_only=True, eq=False)
class Log:
    """An acceleration log as an app writes it: stamps (s) and x, y, z (m/s2), shape (3, n)."""

    stamp_s: NDArray[np.float64]
    acceleration_m_s2: NDArray[np.float64]


def case_acceleration(p: Parameters, tub: TubMotion) -> NDArray[np.float64]:
    """Acceleration of the case: lateral, fore-aft (from nodding), vertical; (3, n), m/s2."""
    rows = []
    tub_hz = (p.tub.horizontal_hz, p.tub.nodding_hz, p.tub.vertical_hz)
    case_hz = (p.cabinet.rocking_hz, 1.2 * p.cabinet.rocking_hz, p.cabinet.vertical_hz)
    arm = p.tub.nodding_inertia_kg_m2 / p.unbalance.radius_m / p.tub.mass_kg
    swings = (tub.displacement[0], tub.displacement[2] * arm, tub.displacement[1])
    for swing, from_hz, to_hz in zip(swings, tub_hz, case_hz, strict=True):
        pulse = 2.0 * np.pi * from_hz
        velocity = np.gradient(swing, 1.0 / STATE_RATE_HZ)
        pull = p.tub.mass_kg * (pulse**2 * swing + 2.0 * p.tub.damping_ratio * pulse * velocity)
        _, acceleration = damped_mode(
            pull / p.cabinet.mass_kg,
            STATE_RATE_HZ,
            natural_hz=to_hz,
            damping_ratio=p.cabinet.damping_ratio,
        )
        rows.append(acceleration)
    return np.array(rows)


def turned(vector: NDArray[np.float64], tilt_deg: tuple[float, float]) -> NDArray[np.float64]:
    """Machine axes into the sensor's, shape (3, n): about the vertical, then about its x."""
    first, second = np.radians(tilt_deg)
    c, s = np.cos(first), np.sin(first)
    about_z = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    c, s = np.cos(second), np.sin(second)
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, c, s], [0.0, -s, c]])
    result: NDArray[np.float64] = about_x @ about_z @ vector
    return result


def sensed(
    instants_s: NDArray[np.float64], p: Parameters, base: Timebase, tub: TubMotion
) -> NDArray[np.float64]:
    """Acceleration with gravity in the sensor's axes at any machine times, shape (3, n)."""
    from scipy.signal import lfilter

    pole = np.exp(-2.0 * np.pi * SENSOR_CORNER_HZ / base.rate_hz)
    panel = PANEL_SHAKE_M_S2 * lfilter([1.0 - pole], [1.0, -pole], machine_sound(p, base, tub))
    case = case_acceleration(p, tub)
    vector = np.empty((3, len(instants_s)))
    for axis, share in enumerate(GAINS[p.logger.placement]):
        vector[axis] = share * np.interp(instants_s, base.motion.time_s, case[axis])
    normal = PANEL_NORMAL[p.logger.placement]
    shaken = np.interp(instants_s, base.time_s, panel)
    vector[normal] += shaken
    vector[(normal + 1) % 3] += 0.3 * shaken
    vector[2] += STANDARD_GRAVITY
    return turned(vector, p.logger.tilt_deg)


def read_out(p: Parameters, base: Timebase, tub: TubMotion) -> Log:
    """What the app writes down; stamps are on the file's own clock, which starts at 0."""
    logger, rng = p.logger, stream(base.seed, "logger")
    span_s = base.time_s[-1] - base.time_s[0]
    count = int(span_s * logger.rate_hz)
    jitter = np.clip(
        rng.normal(0.0, logger.jitter_s, count), -0.45 / logger.rate_hz, 0.45 / logger.rate_hz
    )
    instants = (np.arange(count) + 0.5) / logger.rate_hz + jitter
    kept = np.ones(count, dtype=bool)
    for _ in range(logger.gaps):
        first = rng.uniform(0.0, max(span_s - 1.0, 0.0))
        kept &= (instants < first) | (instants > first + rng.uniform(0.1, 0.8))
    instants = instants[kept]
    values = sensed(base.time_s[0] + instants, p, base, tub)
    values += np.asarray(logger.offset_m_s2)[:, None]
    values += logger.noise_m_s2 * rng.standard_normal(values.shape)
    ceiling = logger.range_g * STANDARD_GRAVITY
    step = ceiling / 2.0 ** (logger.bits - 1)
    values = np.clip(np.rint(values / step) * step, -ceiling, ceiling - step)
    stamps = instants * (1.0 + 1e-6 * logger.clock_error_ppm)
    if logger.stamp_step_s:
        stamps = np.rint(stamps / logger.stamp_step_s) * logger.stamp_step_s
    return Log(stamp_s=stamps, acceleration_m_s2=values)


def as_recording(log: Log, p: Parameters) -> Recording:
    """The log read on an even grid at its nominal rate, linear between samples."""
    rate, start = p.logger.rate_hz, float(log.stamp_s[0])
    grid = np.arange(int((log.stamp_s[-1] - start) * rate) + 1) / rate
    samples = [np.interp(start + grid, log.stamp_s, row) for row in log.acceleration_m_s2]
    steps = np.diff(log.stamp_s)
    clock = SampleClock(
        median_step_s=float(np.median(steps)),
        jitter_s=float(np.std(steps)),
        duplicates=int(np.sum(steps == 0.0)),
        backward_steps=int(np.sum(steps < 0.0)),
        longest_gap_s=float(steps.max()),
    )
    return Recording(
        kind="acceleration",
        samples=np.array(samples, dtype=np.float32),
        rate_hz=rate,
        start_s=start,
        channel_names=("x", "y", "z"),
        source=Source(file=f"simulated {p.name}", sha256="", container="csv"),
        clock=clock,
    )
