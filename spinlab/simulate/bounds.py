"""Which parameters a simulation accepts: what is physical, and what fits into memory."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from spinlab.errors import InputError
from spinlab.simulate.parameters import Parameters

LONGEST_S = 3600.0
CODEC_RATES_HZ = {
    "aac": (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000, 88200, 96000),
    "opus": (8000, 12000, 16000, 24000, 48000),
    "mp3": (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000),
    "amr": (8000,),
}
# (path, lowest, highest): physical sense with a wide margin; common practice, no source.
BOUNDS: tuple[tuple[str, float, float], ...] = (
    ("drum.inertia_kg_m2", 0.005, 10.0),
    ("drum.lifters", 0, 12),
    ("unbalance.mass_kg", 0.0, 10.0),
    ("unbalance.radius_m", 0.01, 1.0),
    ("unbalance.drain_s", 0.1, 1e6),
    ("tub.mass_kg", 1.0, 500.0),
    ("tub.horizontal_hz", 0.3, 30.0),
    ("tub.vertical_hz", 0.3, 30.0),
    ("tub.nodding_hz", 0.3, 30.0),
    ("tub.damping_ratio", 0.001, 2.0),
    ("tub.nodding_inertia_kg_m2", 0.01, 100.0),
    ("tub.clearance_m", 0.001, 1.0),
    ("cabinet.mass_kg", 1.0, 500.0),
    ("drive.ratio", 0.5, 40.0),
    ("drive.torque_limit_nm", 0.1, 200.0),
    ("drive.power_limit_w", 1.0, 20000.0),
    ("drive.loop_hz", 0.01, 5.0),
    ("drive.lag_s", 0.005, 1.0),
    ("drive.lost_phase", 0.0, 1.0),
    ("drive.hall_error", 0.0, 1.0),
    ("drive.arcing", 0.0, 1.0),
    ("drive.tachometer_loss", 0.0, 1.0),
    ("drive.pole_pairs", 1, 100),
    ("belt.length_m", 0.1, 10.0),
    ("belt.capacity_nm", 0.2, 1000.0),
    ("belt.defect", 0.0, 1.0),
    ("surroundings.mains_hz", 16.0, 400.0),
    ("surroundings.pump_air", 0.0, 1.0),
    ("room.reverberation_s", 0.0, 10.0),
    ("room.volume_m3", 0.1, 1e6),
    ("room.distance_m", 0.01, 100.0),
    ("phone.rate_hz", 4000, 192000),
    ("phone.channels", 1, 2),
    ("phone.noise_suppression", 0.0, 1.0),
    ("phone.automatic_gain", 0.0, 1.0),
    ("phone.clock_error_ppm", -1e5, 1e5),
    ("phone.dropouts", 0, 1000),
    ("phone.start_s", 0.0, LONGEST_S),
    ("logger.rate_hz", 5.0, 2000.0),
    ("logger.bits", 4, 24),
    ("logger.range_g", 0.5, 400.0),
    ("logger.start_s", 0.0, LONGEST_S),
)


def _numbers(value: Any, path: str) -> Iterator[tuple[str, float]]:
    """Every number in nested values, with its path."""
    if is_dataclass(value):
        for part in fields(value):
            yield from _numbers(getattr(value, part.name), f"{path}.{part.name}".lstrip("."))
    elif isinstance(value, tuple):
        for number, item in enumerate(value):
            yield from _numbers(item, f"{path}[{number}]")
    elif isinstance(value, (int, float)):
        yield path, float(value)


def check_parameters(p: Parameters, seed: int) -> None:
    """Raise InputError with the first parameter that makes no sense."""
    if seed < 0:
        raise InputError(f"The seed is {seed}: take a whole number from 0 up.")
    found = dict(_numbers(p, ""))
    for path, value in found.items():
        if not math.isfinite(value):
            raise InputError(f"{path} is {value}: it must be a finite number.")
    for path, low, high in BOUNDS:
        if not low <= found[path] <= high:
            raise InputError(f"{path} is {found[path]:g}: it must lie in {low:g} to {high:g}.")
    _check_steps(p)
    for number, fault in enumerate(p.bearings):
        if not 0.0 <= fault.severity <= 1.0 or not 3 <= fault.balls <= 60:
            raise InputError(f"bearings[{number}] needs a severity of 0 to 1 and 3 to 60 balls.")
        if not 0.0 < fault.ball_diameter_mm < fault.pitch_diameter_mm:
            raise InputError(f"bearings[{number}]: the balls must be smaller than their circle.")
    rates = CODEC_RATES_HZ.get(p.phone.codec, (p.phone.rate_hz,))
    if p.kind == "sound" and p.phone.rate_hz not in rates:
        allowed = ", ".join(str(rate) for rate in rates)
        raise InputError(
            f"phone.rate_hz is {p.phone.rate_hz}: the {p.phone.codec} codec takes {allowed}."
        )


def _check_steps(p: Parameters) -> None:
    """Sane steps, and a recording that begins before they end."""
    from spinlab.simulate.programme import command

    for number, step in enumerate(p.programme):
        if step.rise_rpm_per_s < 1.0 or abs(step.rpm) > 3000.0 or not 0 <= step.hold_s <= LONGEST_S:
            raise InputError(
                f"programme[{number}] needs a rise of at least 1 rpm/s, at most 3000 rpm, and "
                f"a hold of 0 to {LONGEST_S:g} s."
            )
    length = command(p.programme).duration_s
    start = p.phone.start_s if p.kind == "sound" else p.logger.start_s
    if not 1.0 <= length <= LONGEST_S or start > length - 1.0:
        raise InputError(
            f"The programme lasts {length:.1f} s and the recording begins at {start:.1f} s: at "
            f"least 1 s must be left, and at most {LONGEST_S:g} s in all."
        )
