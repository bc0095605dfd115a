"""What describes the simulated machine: drum, tub, drive, belt, bearings, faults and voice.

Units are in the names.  A fault's severity runs from 0 (none) over about 0.1 (incipient) to 1
(gross).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

StepKind = Literal["rest", "tumble", "distribution", "spin", "abandon", "coast"]
DriveKind = Literal["brushed", "three_phase", "direct"]
BearingPlace = Literal["front drum", "rear drum", "motor drive end"]
BearingPart = Literal["outer", "inner", "ball", "cage", "grinding"]


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step of the programme.  A negative `rpm` turns the other way.

    A "spin" step is a plateau that the programme expects.  "abandon" ramps to `rpm` and cuts the
    command at once (the imbalance check failed).  "coast" cuts the power for `hold_s`.
    """

    kind: StepKind
    rpm: float = 0.0
    rise_rpm_per_s: float = 60.0
    hold_s: float = 5.0


@dataclass(frozen=True, kw_only=True)
class Drum:
    """The rotor: drum, pulley and the motor's inertia referred to the drum's shaft."""

    inertia_kg_m2: float = 0.32
    seal_friction_nm: float = 0.7
    viscous_nm_s: float = 0.003
    windage_nm_s2: float = 2.5e-5
    torque_noise_nm: float = 0.06
    lifters: int = 3


@dataclass(frozen=True, kw_only=True)
class Unbalance:
    """A mass at a radius turning with the drum; its angle and size may wander.

    `water_ring_kg` is water held at the rim, a tenth of it off centre, that leaves with
    `drain_s` as time constant while the drum turns above 300 rpm.
    """

    mass_kg: float = 0.06
    radius_m: float = 0.24
    wander_turns: float = 0.02
    wander_share: float = 0.05
    lever_m: float = 0.12
    water_ring_kg: float = 0.0
    drain_s: float = 15.0


@dataclass(frozen=True, kw_only=True)
class Tub:
    """The suspended mass: horizontal, vertical and nodding motion, each a damped spring."""

    mass_kg: float = 52.0
    horizontal_hz: float = 2.6
    vertical_hz: float = 3.4
    nodding_hz: float = 4.9
    damping_ratio: float = 0.12
    friction_n: float = 25.0
    nodding_inertia_kg_m2: float = 3.0
    clearance_m: float = 0.02


@dataclass(frozen=True, kw_only=True)
class Cabinet:
    """The case on its feet: what the tub's springs and dampers pull at."""

    mass_kg: float = 34.0
    rocking_hz: float = 12.0
    vertical_hz: float = 24.0
    damping_ratio: float = 0.07


@dataclass(frozen=True, kw_only=True)
class Drive:
    """Motor, controller and transmission.

    `ratio` is motor turns per drum turn by pulley diameters (1 for a direct drive).  Torques are
    at the drum's shaft.  `loop_hz` and `loop_damping` place the speed controller's closed loop;
    `lag_s` is that of its torque and of its tachometer; `relay_nm` is a bang-bang share of its
    torque, which with the lags makes the drum hunt.  `dead_direction`
    is the sense (-1 or 1) in which no torque comes, 0 for none.  `tachometer_loss` is a sensor
    that gives no pulse above a speed: 1 never, 0.25 above three quarters of the fastest asked for.
    """

    kind: DriveKind = "brushed"
    ratio: float = 11.5
    torque_limit_nm: float = 9.0
    power_limit_w: float = 650.0
    brake_share: float = 0.25
    loop_hz: float = 0.5
    loop_damping: float = 0.9
    lag_s: float = 0.04
    relay_nm: float = 0.0
    tachometer_error: float = 0.0
    speed_limit_rpm: float = 2000.0
    dead_direction: int = 0
    pole_pairs: int = 1
    slots: int = 12
    commutator_bars: int = 24
    fan_blades: int = 0
    carrier_hz: float = 0.0
    mains_torque_share: float = 0.3
    lost_phase: float = 0.0
    hall_error: float = 0.0
    arcing: float = 0.0
    tachometer_loss: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Belt:
    """The belt: creep grows with torque and diverges at its capacity (gross slip).

    Belt tension falls with the square of speed: the capacity in N m is
    `capacity_nm - centrifugal_nm_s2 w^2`, w in rad/s of the drum.  `defect` is a damaged place
    that passes the pulleys; `squeal` is how loud slip becomes.
    """

    length_m: float = 1.24
    drum_pulley_m: float = 0.285
    rest_creep: float = 0.003
    creep_at_capacity: float = 0.012
    capacity_nm: float = 30.0
    centrifugal_nm_s2: float = 2e-5
    defect: float = 0.0
    squeal: float = 0.0


@dataclass(frozen=True, kw_only=True)
class BearingFault:
    """A damaged bearing.  The geometry given by default is that of value 2 below.

    9 balls of 7.94 mm on 38.5 mm: a published calculator's worked example of a 6205.  Mean slip
    0.5-1 % is what the open rig records of the failure-prevention society show.
    """

    place: BearingPlace = "rear drum"
    part: BearingPart = "outer"
    severity: float = 0.5
    balls: int = 9
    ball_diameter_mm: float = 7.94
    pitch_diameter_mm: float = 38.5
    contact_angle_deg: float = 0.0
    slip_percent: float = 0.8
    jitter_percent: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Loose:
    """Things that knock: severities 0..1.

    `counterweight` strikes once per turn when the unbalance shakes it; `coin` falls from the
    lifters while the drum turns slowly; `feet` lets the case walk: it is the share by which the
    case's hold on the floor is weakened.
    """

    counterweight: float = 0.0
    coin: float = 0.0
    feet: float = 0.0


@dataclass(frozen=True, kw_only=True)
class NoiseBand:
    """Broadband noise of the machine whose strength follows the drum's angle.

    `index` is the amplitude-modulation index of its envelope at the drum's rate.
    """

    centre_hz: float
    width_octaves: float
    level_db: float
    index: float
    second_index: float = 0.0
    exponent: float = 2.0


@dataclass(frozen=True, kw_only=True)
class Voice:
    """How loud each part of the machine is heard: dB relative to its noise at 1200 rpm."""

    noise_tilt_db_per_octave: float = -3.0
    noise_exponent: float = 1.8
    turbulence: float = 0.15
    motor_db: float = -6.0
    motor_fall: float = 0.8
    drum_orders_db: float = -14.0
    belt_db: float = -30.0
    slosh_db: float | None = None
    bands: tuple[NoiseBand, ...] = (
        NoiseBand(centre_hz=900.0, width_octaves=1.2, level_db=-3.0, index=0.2),
        NoiseBand(centre_hz=3200.0, width_octaves=1.0, level_db=-8.0, index=0.12),
    )
