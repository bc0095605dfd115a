"""Machines, rooms and phones drawn at random, so that a bench meets a broad population.

Ranges are common practice (no published source) unless a comment names one.  Some machines have
loud motor lines and hardly any modulation, some the other way, some little of either.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np

from spinlab.simulate.parameters import (
    Belt,
    Codec,
    Drive,
    DriveKind,
    Drum,
    Logger,
    NoiseBand,
    Parameters,
    Phone,
    Placement,
    Room,
    Step,
    Surroundings,
    Tub,
    Unbalance,
    Voice,
)

Length = Literal["short", "usual", "long"]
Noise = Literal["hum", "pump", "fan", "speech", "babble", "handling", "slam"]
DRIVES: tuple[DriveKind, ...] = ("brushed", "three_phase", "direct")
HOLD_S: dict[str, tuple[float, float]] = {
    "short": (2.5, 4.0),
    "usual": (5.0, 9.0),
    "long": (12.0, 20.0),
}
PLACEMENTS: tuple[Placement, ...] = ("lid", "side", "front")
RATED_RPM = (1000.0, 1200.0, 1400.0, 1600.0)


def random_programme(
    rng: np.random.Generator, *, length: Length = "usual", rated_rpm: float | None = None
) -> tuple[Step, ...]:
    """A spin test: 400, 800, 1000, 1200 and the rated maximum (common practice), or fewer."""
    rated = float(rng.choice(RATED_RPM)) if rated_rpm is None else rated_rpm
    levels = [rpm for rpm in (400.0, 800.0, 1000.0, 1200.0) if rpm < rated] + [rated]
    if length == "short":
        levels = [levels[0], *levels[2:][-2:]]
    low, high = HOLD_S[length]
    rise = rng.uniform(50.0, 150.0) if length != "short" else rng.uniform(120.0, 220.0)
    spins = [
        Step(kind="spin", rpm=rpm, rise_rpm_per_s=rise, hold_s=rng.uniform(low, high))
        for rpm in levels
    ]
    tumbles = [
        Step(kind="tumble", rpm=sign * 48.0, rise_rpm_per_s=60.0, hold_s=2.5)
        for sign in (1.0, -1.0)
        if length == "long"
    ]
    return (
        Step(kind="rest", hold_s=rng.uniform(0.5, 2.0)),
        *tumbles,
        Step(
            kind="distribution",
            rpm=rng.uniform(60.0, 100.0),
            rise_rpm_per_s=rng.uniform(30.0, 60.0),
            hold_s=rng.uniform(0.4, 0.8) * high,
        ),
        *spins,
        Step(kind="coast", hold_s=rng.uniform(1.0, 1.5) * high),
    )


def _random_controller(rng: np.random.Generator) -> dict[str, Any]:
    """Limits and loop of a motor controller, for every kind of drive."""
    return {
        "torque_limit_nm": rng.uniform(7.0, 14.0),
        "power_limit_w": rng.uniform(500.0, 900.0),
        "brake_share": rng.uniform(0.1, 0.5),
        "loop_hz": rng.uniform(0.3, 0.9),
        "loop_damping": rng.uniform(0.35, 1.2),
        "lag_s": rng.uniform(0.02, 0.06),
        "relay_nm": float(rng.choice([0.0, 0.0, rng.uniform(0.1, 1.0)])),
        "tachometer_error": rng.normal(0.0, 0.003),
    }


def random_drive(rng: np.random.Generator, kind: DriveKind) -> Drive:
    """Motor and controller of one kind; belt-drive ratio 8:1 to 13:1 (IEEE 6063790)."""
    shared = _random_controller(rng)
    if kind == "brushed":
        return Drive(
            kind=kind,
            ratio=rng.uniform(9.0, 13.0),
            pole_pairs=1,
            slots=int(rng.choice([10, 12, 18])),
            commutator_bars=int(rng.choice([20, 24, 32, 36, 48])),
            fan_blades=int(rng.choice([0, 0, 7, 9, 11])),
            mains_torque_share=rng.uniform(0.05, 0.6),
            **shared,
        )
    belted = kind == "three_phase"
    pole_pairs = (1, 2, 3, 4) if belted else (12, 20, 21, 24, 28)
    slots = (12, 18, 24, 36) if belted else (24, 27, 36, 42)
    return Drive(
        kind=kind,
        ratio=rng.uniform(8.0, 12.5) if belted else 1.0,
        pole_pairs=int(rng.choice(pole_pairs)),
        slots=int(rng.choice(slots)),
        commutator_bars=0,
        carrier_hz=rng.uniform(4000.0, 17000.0),
        mains_torque_share=0.0,
        **shared,
    )


def random_mechanics(rng: np.random.Generator) -> dict[str, Any]:
    """Belt, drum, unbalance and tub; a suspended tub resonates at 2-6 Hz (value from memory)."""
    return {
        "belt": Belt(
            length_m=rng.uniform(1.1, 1.35),
            drum_pulley_m=rng.uniform(0.26, 0.31),
            rest_creep=rng.uniform(0.003, 0.007),
            creep_at_capacity=rng.uniform(0.01, 0.03),
            capacity_nm=rng.uniform(22.0, 40.0),
        ),
        "drum": Drum(
            inertia_kg_m2=rng.uniform(0.18, 0.45),
            seal_friction_nm=rng.uniform(0.3, 0.9),
            viscous_nm_s=rng.uniform(0.001, 0.004),
            windage_nm_s2=rng.uniform(1e-5, 4e-5),
            torque_noise_nm=rng.uniform(0.02, 0.15),
        ),
        "unbalance": Unbalance(mass_kg=float(np.exp(rng.uniform(np.log(0.01), np.log(0.15))))),
        "tub": Tub(
            mass_kg=rng.uniform(40.0, 65.0),
            horizontal_hz=rng.uniform(2.0, 3.5),
            vertical_hz=rng.uniform(2.5, 4.5),
            nodding_hz=rng.uniform(3.5, 6.0),
            damping_ratio=rng.uniform(0.08, 0.2),
            friction_n=rng.uniform(10.0, 50.0),
        ),
    }


def random_voice(rng: np.random.Generator) -> Voice:
    """How loud each part is: drawn apart from each other, modulation index 0.03 to 0.4."""
    bands = tuple(
        NoiseBand(
            centre_hz=float(np.exp(rng.uniform(np.log(250.0), np.log(6000.0)))),
            width_octaves=rng.uniform(0.5, 2.0),
            level_db=rng.uniform(-14.0, 2.0),
            index=float(np.exp(rng.uniform(np.log(0.03), np.log(0.4)))),
            second_index=float(np.exp(rng.uniform(np.log(0.005), np.log(0.15)))),
            exponent=rng.uniform(1.2, 2.8),
        )
        for _ in range(int(rng.integers(1, 4)))
    )
    return Voice(
        noise_tilt_db_per_octave=rng.uniform(-6.0, -1.5),
        noise_exponent=rng.uniform(1.2, 2.4),
        turbulence=rng.uniform(0.05, 0.3),
        motor_db=rng.uniform(-20.0, 6.0),
        motor_fall=rng.uniform(0.3, 1.5),
        drum_orders_db=rng.uniform(-30.0, -4.0),
        belt_db=rng.uniform(-45.0, -20.0),
        bands=bands,
    )


def random_surroundings(
    rng: np.random.Generator,
    *,
    snr_db: float | None,
    noises: Sequence[Noise] | None = None,
    mains_hz: float | None = None,
) -> Surroundings:
    """Interference; `noises` names what is present (None: drawn), always with room noise."""
    around = Surroundings(
        snr_db=snr_db,
        mains_hz=float(rng.choice([50.0, 60.0])) if mains_hz is None else mains_hz,
        mains_drift_hz=rng.uniform(0.0, 0.06),
        fan_hz=rng.uniform(15.0, 32.0),
        room_noise_db=rng.uniform(-28.0, -8.0),
    )
    names = ("hum", "pump", "fan", "speech", "babble", "handling", "slam")
    chance = (0.6, 0.4, 0.25, 0.4, 0.2, 0.3, 0.15)
    drawn = [name for name, share in zip(names, chance, strict=True) if rng.random() < share]
    present = drawn if noises is None else list(noises)
    levels: dict[str, Any] = {f"{name}_db": rng.uniform(-22.0, -2.0) for name in names}
    levels["slam_db"] = rng.uniform(0.0, 15.0)
    kept = {key: level for key, level in levels.items() if key[:-3] in present}
    start = rng.uniform(-20.0, 30.0)
    span = (start, start + rng.uniform(15.0, 60.0))
    times = tuple(np.sort(rng.uniform(5.0, 50.0, 3)).tolist())
    return replace(around, pump_on_s=span, slam_times_s=times, **kept)


def random_phone(rng: np.random.Generator, *, rate_hz: int, codec: Codec) -> Phone:
    """Microphone and recorder; half of them leave the sound alone."""
    plain = rng.random() < 0.5
    return Phone(
        rate_hz=rate_hz,
        level_dbfs=rng.uniform(-32.0, -16.0),
        high_pass_hz=rng.uniform(30.0, 160.0),
        roll_off_hz=rng.uniform(7000.0, 16000.0),
        ripple_db=rng.uniform(1.0, 6.0),
        self_noise_db=rng.uniform(-60.0, -40.0),
        automatic_gain=0.0 if plain else rng.uniform(0.2, 0.8),
        noise_suppression=0.0 if plain or rng.random() < 0.6 else rng.uniform(0.2, 0.8),
        codec=codec,
        bit_rate=int(rng.choice([32000, 48000, 64000, 96000])),
        clock_error_ppm=rng.uniform(-100.0, 100.0),
    )


def random_room(rng: np.random.Generator, *, reverberation_s: float | None = None) -> Room:
    """From a tiled bathroom to a workshop; the phone 0.2 to 2 m away."""
    drawn = rng.uniform(0.2, 0.9)
    return Room(
        reverberation_s=drawn if reverberation_s is None else reverberation_s,
        volume_m3=rng.uniform(8.0, 40.0),
        distance_m=rng.uniform(0.2, 2.0),
    )


def random_logger(rng: np.random.Generator) -> Logger:
    """Phones give 50 to 500 Hz with steps that scatter by up to a tenth (vendors' notes)."""
    rate_hz = float(rng.choice([50.0, 92.0, 100.0, 125.0, 200.0, 400.0, 500.0]))
    return Logger(
        rate_hz=rate_hz,
        placement=PLACEMENTS[int(rng.integers(len(PLACEMENTS)))],
        tilt_deg=(rng.uniform(-180.0, 180.0), rng.uniform(-90.0, 90.0)),
        jitter_s=rng.uniform(0.0, 0.1) / rate_hz,
        stamp_step_s=float(rng.choice([1e-3, 1e-6])),
        gaps=int(rng.choice([0, 0, 0, 1, 2])),
        range_g=float(rng.choice([2.0, 4.0, 8.0])),
        bits=int(rng.choice([12, 14, 16])),
        noise_m_s2=rng.uniform(0.005, 0.03),
        offset_m_s2=tuple(rng.normal(0.0, 0.08, 3).tolist()),
        clock_error_ppm=rng.uniform(-100.0, 100.0),
    )


def random_parameters(
    rng: np.random.Generator,
    *,
    kind: Literal["sound", "acceleration"] = "sound",
    drive: DriveKind | None = None,
    snr_db: float | None = None,
    noises: Sequence[Noise] | None = None,
    mains_hz: float | None = None,
    rate_hz: int = 16000,
    codec: Codec = "none",
    reverberation_s: float | None = None,
    length: Length = "usual",
    rated_rpm: float | None = None,
    start_mid_ramp: bool = False,
) -> Parameters:
    """One healthy machine, its programme, room and phone; what is not given is drawn.

    `rate_hz` is the phone's sample rate for sound; a log's rate is drawn.
    """
    phone = random_phone(rng, rate_hz=rate_hz, codec=codec)
    start_s = rng.uniform(4.0, 14.0) if start_mid_ramp else 0.0
    return Parameters(
        name="random",
        kind=kind,
        programme=random_programme(rng, length=length, rated_rpm=rated_rpm),
        drive=random_drive(rng, drive or DRIVES[int(rng.integers(len(DRIVES)))]),
        voice=random_voice(rng),
        surroundings=random_surroundings(rng, snr_db=snr_db, noises=noises, mains_hz=mains_hz),
        room=random_room(rng, reverberation_s=reverberation_s),
        phone=replace(phone, start_s=start_s),
        logger=replace(random_logger(rng), start_s=start_s),
        **random_mechanics(rng),
    )
