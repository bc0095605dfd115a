"""Everything that describes one simulated recording: the machine, the room and the phone.

All values are frozen and in the units their names carry.  The ranges of `sampling` come from
common practice (no published source) unless a comment names one.  What a parameter does not say
(panel modes, formants, arrival times of reflections) is drawn from the seed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

StepKind = Literal["rest", "tumble", "distribution", "spin", "abandon", "coast"]
DriveKind = Literal["brushed", "three_phase", "direct"]
Codec = Literal["none", "aac", "opus", "mp3", "amr"]


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step of the programme.  A negative `rpm` turns the other way.

    A "spin" step is a plateau that the programme expects.  "abandon" ramps to `rpm` and cuts the
    power at once (the imbalance check failed).  "coast" cuts the power for `hold_s`.
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
    viscous_nm_s: float = 0.004
    windage_nm_s2: float = 4.0e-5
    torque_noise_nm: float = 0.06
    lifters: int = 3


@dataclass(frozen=True, kw_only=True)
class Unbalance:
    """A mass at a radius turning with the drum; its angle and size may wander."""

    mass_kg: float = 0.06
    radius_m: float = 0.24
    wander_turns: float = 0.02
    wander_share: float = 0.05
    lever_m: float = 0.12


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


@dataclass(frozen=True, kw_only=True)
class Drive:
    """Motor, controller and transmission.

    `ratio` is motor turns per drum turn by pulley diameters (1 for a direct drive).  Torques are
    at the drum's shaft.  `loop_hz` and `loop_damping` place the speed controller's closed loop;
    `relay_nm` is a bang-bang share of its torque, the usual cause of hunting.
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
    pole_pairs: int = 1
    slots: int = 12
    commutator_bars: int = 24
    fan_blades: int = 0
    carrier_hz: float = 0.0
    mains_torque_share: float = 0.3
    lost_phase: float = 0.0
    hall_error: float = 0.0
    arcing: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Belt:
    """The belt: creep grows with torque and diverges at `capacity_nm` (gross slip)."""

    length_m: float = 1.24
    drum_pulley_m: float = 0.285
    rest_creep: float = 0.002
    creep_at_capacity: float = 0.012
    capacity_nm: float = 30.0
    defect: float = 0.0
    stick_slip: float = 0.0


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
    exponent: float = 2.5


@dataclass(frozen=True, kw_only=True)
class Voice:
    """How loud each part of the machine is heard: dB relative to its noise at 1200 rpm."""

    noise_tilt_db_per_octave: float = -3.0
    noise_exponent: float = 2.2
    turbulence: float = 0.15
    motor_db: float = -12.0
    motor_fall: float = 0.8
    drum_orders_db: float = -14.0
    belt_db: float = -30.0
    bands: tuple[NoiseBand, ...] = (
        NoiseBand(centre_hz=900.0, width_octaves=1.2, level_db=-3.0, index=0.2),
        NoiseBand(centre_hz=3200.0, width_octaves=1.0, level_db=-8.0, index=0.12),
    )


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What else is heard: levels in dB relative to each other; None means absent.

    With `snr_db` set, the sum of all of it is scaled so that the machine's power over its power,
    both in 100-7000 Hz at the microphone while the drum is commanded above 300 rpm, has this
    ratio.  With None the levels stand relative to the machine's noise at 1200 rpm.
    """

    snr_db: float | None = None
    mains_hz: float = 50.0
    mains_drift_hz: float = 0.03
    hum_db: float | None = None
    pump_db: float | None = None
    pump_on_s: tuple[float, float] = (0.0, 1e9)
    fan_db: float | None = None
    fan_hz: float = 24.0
    speech_db: float | None = None
    speech_on_s: tuple[float, float] = (0.0, 1e9)
    babble_db: float | None = None
    slam_db: float | None = None
    slam_times_s: tuple[float, ...] = ()
    handling_db: float | None = None
    room_noise_db: float | None = -30.0


@dataclass(frozen=True, kw_only=True)
class Room:
    """Reverberation time and the phone's distance from the machine's front."""

    reverberation_s: float = 0.4
    volume_m3: float = 18.0
    distance_m: float = 0.8


@dataclass(frozen=True, kw_only=True)
class Phone:
    """Microphone, the phone's own processing, the codec and the file's clock."""

    rate_hz: int = 48000
    channels: int = 1
    level_dbfs: float = -20.0
    high_pass_hz: float = 70.0
    roll_off_hz: float = 12000.0
    ripple_db: float = 4.0
    self_noise_db: float = -60.0
    automatic_gain: float = 0.0
    noise_suppression: float = 0.0
    clip_dbfs: float | None = None
    codec: Codec = "none"
    bit_rate: int = 64000
    clock_error_ppm: float = 0.0
    dropouts: int = 0
    moved_at_s: float | None = None
    start_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Parameters:
    """One simulated recording, whole."""

    name: str = "healthy"
    kind: Literal["sound", "acceleration"] = "sound"
    programme: tuple[Step, ...] = ()
    drum: Drum = field(default_factory=Drum)
    unbalance: Unbalance = field(default_factory=Unbalance)
    tub: Tub = field(default_factory=Tub)
    drive: Drive = field(default_factory=Drive)
    belt: Belt = field(default_factory=Belt)
    voice: Voice = field(default_factory=Voice)
    surroundings: Surroundings = field(default_factory=Surroundings)
    room: Room = field(default_factory=Room)
    phone: Phone = field(default_factory=Phone)
