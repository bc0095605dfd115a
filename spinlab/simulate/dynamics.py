"""The drum in motion: inertia, drag, speed controller and belt, integrated together.

State: drum angle (rad) and rate w (rad/s), controller integral (rad), motor torque T at the
drum's shaft (N m), and the motor's speed as its tachometer reports it (rad/s, over the ratio).

    J dw/dt = T - Tc tanh(w/w0) - B w - k w|w| - m g r cos(angle) + noise
    lag dT/dt = limited(PI(command - reported speed)) - T
    lag dm/dt = motor speed - m

The motor is held at the commanded speed, not the drum: belt creep comes between them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.parameters import Belt, Drive, Parameters
from spinlab.simulate.programme import COMMAND_RATE_HZ, Command
from spinlab.simulate.streams import stream, wander

STATE_RATE_HZ = 500.0
STANDARD_GRAVITY = 9.80665  # m/s2, ISO 80000-3
FRICTION_RATE = 0.3  # rad/s over which seal friction changes sign
LARGEST_SLIP = 0.35
IDLE_TORQUE_NM = 0.3  # below it the belt hardly stretches, and creep vanishes
DRAINING_RATE = 300.0 * 2.0 * math.pi / 60.0  # rad/s above which the water ring drains
WATER_OFF_CENTRE = 0.1  # share of a water ring that weighs on one side
DEFECT_TORQUE_NM = 0.8  # swing of the torque as a gross belt defect passes a pulley
TOLERANCE = 1e-5

Derivative = Callable[[float, NDArray[np.float64]], tuple[float, ...]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Motion:
    """What drum and motor did, on a uniform grid of `STATE_RATE_HZ` from power-up.

    Attributes:
        time_s, turns (of the drum, signed), rate_hz (drum turns per second, signed),
        motor_turns (signed), motor_rate_hz, torque_nm: shape (n,).
        heavy_turns: angle of the unbalance, in turns; it wanders relative to the drum.
        heavy_kg_m: mass times radius of the unbalance, shape (n,).
        creep: share by which the motor leads the drum over the ratio, shape (n,).
    """

    time_s: NDArray[np.float64]
    turns: NDArray[np.float64]
    rate_hz: NDArray[np.float64]
    motor_turns: NDArray[np.float64]
    motor_rate_hz: NDArray[np.float64]
    torque_nm: NDArray[np.float64]
    heavy_turns: NDArray[np.float64]
    heavy_kg_m: NDArray[np.float64]
    creep: NDArray[np.float64]

    @property
    def unbalance_force_n(self) -> NDArray[np.float64]:
        """Centrifugal force m r w^2 of the unbalance."""
        return self.heavy_kg_m * (2.0 * np.pi * self.rate_hz) ** 2


def belt_capacity(rate: float, belt: Belt) -> float:
    """Largest torque (N m) that the belt passes on at a drum rate in rad/s."""
    return max(belt.capacity_nm - belt.centrifugal_nm_s2 * rate * rate, 0.1)


def belt_creep(torque_nm: float, rate: float, drive: Drive, belt: Belt) -> float:
    """Share by which the motor leads the drum, over the pulley ratio, at this torque."""
    if drive.kind == "direct":
        return 0.0
    load = min(abs(torque_nm) / belt_capacity(rate, belt), 0.999999)
    creep = belt.rest_creep * math.tanh(abs(torque_nm) / IDLE_TORQUE_NM)
    creep += belt.creep_at_capacity * math.atanh(load)
    return math.copysign(min(creep, LARGEST_SLIP), torque_nm)


def _controller(p: Parameters) -> Callable[[float, float, float, bool], tuple[float, float]]:
    """PI control of the motor's speed with limits on torque and power.

    Back-calculation keeps the integral from winding up (Astrom and Hagglund, PID Controllers).
    """
    drive, pulse = p.drive, 2.0 * math.pi * p.drive.loop_hz
    proportional = 2.0 * drive.loop_damping * pulse * p.drum.inertia_kg_m2
    integral = pulse * pulse * p.drum.inertia_kg_m2
    top = drive.torque_limit_nm * (1.0 - 0.6 * drive.lost_phase)
    belted, dead = drive.kind != "direct", drive.dead_direction

    def demand(error: float, summed: float, rate: float, powered: bool) -> tuple[float, float]:
        if not powered:
            return 0.0, -2.0 * summed
        wanted = proportional * error + integral * summed
        if drive.relay_nm:
            wanted += drive.relay_nm * math.tanh(20.0 * error)
        limit = min(top, drive.power_limit_w / max(abs(rate), 1.0))
        if belted:
            limit = min(limit, belt_capacity(rate, p.belt))
        low = -limit if abs(rate) < 3.0 else -limit * drive.brake_share
        sense = 1.0 if rate >= 0.0 else -1.0
        given = sense * min(max(sense * wanted, low), limit)
        if dead * given > 0.0:
            given = 0.0
        return given, error + (given - wanted) / proportional

    return demand


@dataclass(frozen=True, kw_only=True, eq=False)
class _Disturbance:
    """Random torque, and the unbalance's wandering angle (rad) and m r, at the command's rate."""

    torque_nm: NDArray[np.float64]
    angle: NDArray[np.float64]
    heavy_kg_m: NDArray[np.float64]


def _disturbance(p: Parameters, orders: Command, seed: int) -> _Disturbance:
    load, count = p.unbalance, len(orders.speed_rad_s)
    torque = wander(stream(seed, "torque"), count, COMMAND_RATE_HZ, 1.5)
    angle = wander(stream(seed, "ballast angle"), count, COMMAND_RATE_HZ, 0.1)
    size = wander(stream(seed, "ballast size"), count, COMMAND_RATE_HZ, 0.1)
    fast_s = np.cumsum(np.abs(orders.speed_rad_s) > DRAINING_RATE) / COMMAND_RATE_HZ
    water = WATER_OFF_CENTRE * load.water_ring_kg * np.exp(-fast_s / load.drain_s)
    heavy = load.radius_m * (load.mass_kg + water) * np.maximum(1.0 + load.wander_share * size, 0)
    return _Disturbance(
        torque_nm=p.drum.torque_noise_nm * torque,
        angle=2.0 * np.pi * load.wander_turns * angle,
        heavy_kg_m=heavy,
    )


def _derivative(p: Parameters, orders: Command, disturbance: _Disturbance) -> Derivative:
    """The right-hand side, in plain floats because it is called some hundred thousand times."""
    drum, drive, belt = p.drum, p.drive, p.belt
    last = len(orders.speed_rad_s) - 2
    wanted, powered = orders.speed_rad_s.tolist(), orders.powered.tolist()
    pulses = [True] * len(wanted) if orders.pulses is None else orders.pulses.tolist()
    noise, shift = disturbance.torque_nm.tolist(), disturbance.angle.tolist()
    heavy = (disturbance.heavy_kg_m * STANDARD_GRAVITY).tolist()
    demand = _controller(p)
    scale, ceiling = 1.0 - drive.tachometer_error, drive.speed_limit_rpm * 2.0 * math.pi / 60.0
    per_pass = math.pi * belt.drum_pulley_m / belt.length_m
    defect = DEFECT_TORQUE_NM * belt.defect if drive.kind != "direct" else 0.0
    cos, tanh = math.cos, math.tanh

    def derivative(t: float, state: NDArray[np.float64]) -> tuple[float, ...]:
        angle, rate, summed, torque, reported = state.tolist()
        i = min(int(t * COMMAND_RATE_HZ), last)
        part = t * COMMAND_RATE_HZ - i
        target = wanted[i] + part * (wanted[i + 1] - wanted[i])
        target = min(max(target, -ceiling), ceiling)
        lead = belt_creep(torque, rate, drive, belt)
        motor = rate * (1.0 + (lead if rate >= 0.0 else -lead))
        given, dsum = demand(target * scale - reported, summed, rate, powered[i])
        drag = drum.seal_friction_nm * tanh(rate / FRICTION_RATE) + drum.viscous_nm_s * rate
        drag += drum.windage_nm_s2 * rate * abs(rate) + heavy[i] * cos(angle + shift[i])
        push = (noise[i] + defect * cos(per_pass * angle)) * min(1.0, abs(rate) / 5.0)
        return (
            rate,
            (torque + push - drag) / drum.inertia_kg_m2,
            dsum,
            (given - torque) / drive.lag_s,
            ((motor if pulses[i] else 0.0) - reported) / drive.lag_s,
        )

    return derivative


def integrate(p: Parameters, orders: Command, seed: int) -> Motion:
    """Run the programme (scipy's LSODA, Petzold 1983) and return what the drum did."""
    from scipy.integrate import cumulative_trapezoid, odeint

    count = int(orders.duration_s * STATE_RATE_HZ)
    time_s = np.arange(count) / STATE_RATE_HZ
    disturbance = _disturbance(p, orders, seed)
    start = [stream(seed, "start").uniform(0.0, 2.0 * np.pi), 0.0, 0.0, 0.0, 0.0]
    rhs = _derivative(p, orders, disturbance)
    state = odeint(
        rhs, start, time_s, tfirst=True, rtol=TOLERANCE, atol=TOLERANCE, hmax=0.05, mxstep=5000
    )
    angle, rate, torque = state[:, 0], state[:, 1], state[:, 3]
    pairs = zip(torque.tolist(), rate.tolist(), strict=True)
    creep = np.array([belt_creep(v, w, p.drive, p.belt) for v, w in pairs])
    motor = rate * p.drive.ratio * (1.0 + creep * np.sign(rate)) / (2.0 * np.pi)
    coarse = np.arange(len(disturbance.angle)) / COMMAND_RATE_HZ
    return Motion(
        time_s=time_s,
        turns=angle / (2.0 * np.pi),
        rate_hz=rate / (2.0 * np.pi),
        motor_turns=cumulative_trapezoid(motor, time_s, initial=0.0),
        motor_rate_hz=motor,
        torque_nm=torque,
        heavy_turns=(angle + np.interp(time_s, coarse, disturbance.angle)) / (2.0 * np.pi),
        heavy_kg_m=np.interp(time_s, coarse, disturbance.heavy_kg_m),
        creep=creep,
    )
