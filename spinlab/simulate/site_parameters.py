"""What describes the place and the recorder: noises around, the room, the phone, the logger."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Codec = Literal["none", "aac", "opus", "mp3", "amr"]
Placement = Literal["lid", "side", "front"]


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What else is heard; None means absent.  Times are in s from power-up.

    With `snr_db` set, the sum of all of it is scaled so that the machine's power over its power,
    both in 100-7000 Hz at the microphone while the drum turns above 300 rpm, has this ratio.
    With None the levels stand, in dB relative to the machine's noise at 1200 rpm.  `pump_air` is
    the share of time that slugs of air take in the drain pump, from `pump_air_from_s` on.
    """

    snr_db: float | None = None
    mains_hz: float = 50.0
    mains_drift_hz: float = 0.03
    hum_db: float | None = None
    pump_db: float | None = None
    pump_on_s: tuple[float, float] = (0.0, 1e9)
    pump_air: float = 0.0
    pump_air_from_s: float = 0.0
    fill_db: float | None = None
    fill_on_s: tuple[float, float] = (0.0, 1e9)
    click_db: float | None = None
    click_times_s: tuple[float, ...] = ()
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
    """Microphone, the phone's own processing, the codec and the file's clock.

    `clock_error_ppm` is how much the file's clock runs fast.  `start_s` is when the recording
    begins, in s from power-up, and `duration_s` how long it lasts (None: to the end).  At
    `moved_at_s` (from power-up) the phone is put down elsewhere, at `moved_to_m`.
    """

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
    moved_to_m: float = 1.6
    start_s: float = 0.0
    duration_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Logger:
    """The phone as accelerometer: no anti-alias filter, uneven steps, a few bits.

    `tilt_deg` turns the sensor about the machine's vertical and then about its own x axis.
    """

    rate_hz: float = 100.0
    placement: Placement = "lid"
    tilt_deg: tuple[float, float] = (3.0, 2.0)
    jitter_s: float = 0.001
    stamp_step_s: float = 0.001
    gaps: int = 0
    range_g: float = 2.0
    bits: int = 14
    noise_m_s2: float = 0.01
    offset_m_s2: tuple[float, float, float] = (0.05, -0.08, 0.1)
    clock_error_ppm: float = 0.0
    start_s: float = 0.0
    duration_s: float | None = None
