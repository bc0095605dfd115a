"""Reference values and small calculators: balance grade, centrifugal load, zones, heater.

Orientation, never a verdict: a household appliance lies outside the scope of the vibration
standards quoted here, and an unbalance in grams can not be had from a phone recording.

Conventions: units stand in the names; speeds in rpm, masses in kg, unbalance in g mm (a mass in
g times its radius in mm).  Every function raises `InputError` for a value that is not a
positive, finite number.  The arithmetic is exact: a result is as good as what is put in.

References:
    ISO 21940-11:2016, Mechanical vibration - Rotor balancing - Part 11 (formerly ISO 1940-1):
        grade G = e_per * Omega in mm/s; U_per = e_per * m.
    ISO 10816-1:1995, annex B (now ISO 20816-1:2016): zone limits by machine class, from memory
        and as quoted on several public pages; the standard's own text was not at hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from spinlab.errors import InputError
from spinlab.phrase import say

STANDARD_GRAVITY_M_S2 = 9.80665  # ISO 80000-3, conventional value
RPM_TO_RAD_S = 2.0 * math.pi / 60.0

# ISO 21940-11:2016, table 1: the grades step by a factor of about 2.5 (values from memory).
BALANCE_GRADES_MM_S = (0.4, 1.0, 2.5, 6.3, 16.0, 40.0, 100.0, 250.0, 630.0, 1600.0, 4000.0)

MachineClass = Literal["I", "II", "III", "IV"]

# ISO 10816-1:1995, annex B, in mm/s RMS, 10-1000 Hz: limits A/B, B/C, C/D of each class.
ZONE_LIMITS_MM_S: dict[str, tuple[float, float, float]] = {
    "I": (0.71, 1.8, 4.5),
    "II": (1.12, 2.8, 7.1),
    "III": (1.8, 4.5, 11.2),
    "IV": (2.8, 7.1, 18.0),
}
ZONE_BAND_HZ = (10.0, 1000.0)

OUT_OF_SCOPE = (
    "orientation only: ISO 20816-1 (formerly ISO 10816-1) covers industrial machines on their "
    "foundations, not a household appliance whose tub hangs on springs, and its limits are "
    "broadband values from 10 to 1000 Hz, so nothing below 600 rpm counts in them"
)


@dataclass(frozen=True, kw_only=True)
class Zone:
    """Where a velocity would lie on the zones of ISO 10816-1, and why that is no verdict."""

    letter: Literal["A", "B", "C", "D"]
    machine_class: str
    limits_mm_s: tuple[float, float, float]
    scope: str = OUT_OF_SCOPE


@dataclass(frozen=True, kw_only=True)
class HeaterLoad:
    """What a resistive element draws at a given voltage."""

    resistance_ohm: float
    current_a: float
    power_w: float


def _positive(**values: float) -> None:
    """Raise `InputError` naming the first value that is not a positive, finite number."""
    for name, value in values.items():
        if not (isinstance(value, (int, float)) and math.isfinite(value) and value > 0):
            raise InputError(
                say("{name} must be a number above zero, not {value!r}", name=name, value=value)
            )


def angular_speed_rad_s(speed_rpm: float) -> float:
    """Angular speed of a shaft, 2 pi n / 60."""
    _positive(speed_rpm=speed_rpm)
    return RPM_TO_RAD_S * speed_rpm


def permissible_eccentricity_um(grade_mm_s: float, speed_rpm: float) -> float:
    """Permissible residual specific unbalance e_per = G / Omega (ISO 21940-11, clause 6)."""
    _positive(grade_mm_s=grade_mm_s)
    return 1000.0 * grade_mm_s / angular_speed_rad_s(speed_rpm)


def permissible_unbalance_g_mm(
    grade_mm_s: float, speed_rpm: float, *, rotor_mass_kg: float
) -> float:
    """Permissible residual unbalance U_per = e_per m; 1 um kg is 1 g mm."""
    _positive(rotor_mass_kg=rotor_mass_kg)
    return permissible_eccentricity_um(grade_mm_s, speed_rpm) * rotor_mass_kg


def balance_grade_mm_s(unbalance_g_mm: float, speed_rpm: float, *, rotor_mass_kg: float) -> float:
    """The grade that a residual unbalance amounts to: G = U Omega / m, in mm/s."""
    _positive(unbalance_g_mm=unbalance_g_mm, rotor_mass_kg=rotor_mass_kg)
    return unbalance_g_mm / rotor_mass_kg * angular_speed_rad_s(speed_rpm) / 1000.0


def next_standard_grade_mm_s(grade_mm_s: float) -> float | None:
    """The smallest grade of ISO 21940-11 that still admits this value; None above G 4000."""
    _positive(grade_mm_s=grade_mm_s)
    return next((step for step in BALANCE_GRADES_MM_S if grade_mm_s <= step * (1 + 1e-9)), None)


def centrifugal_force_n(mass_kg: float, radius_m: float, speed_rpm: float) -> float:
    """Centrifugal force m r omega^2 of a mass carried round at a radius."""
    _positive(mass_kg=mass_kg, radius_m=radius_m)
    return mass_kg * radius_m * angular_speed_rad_s(speed_rpm) ** 2


def rim_acceleration_g(radius_m: float, speed_rpm: float) -> float:
    """Centripetal acceleration at the drum's rim, in multiples of standard gravity."""
    _positive(radius_m=radius_m)
    return radius_m * angular_speed_rad_s(speed_rpm) ** 2 / STANDARD_GRAVITY_M_S2


def zone(velocity_mm_s_rms: float, machine_class: MachineClass = "I") -> Zone:
    """Zone A to D of ISO 10816-1 in which a broadband velocity would lie: orientation only."""
    _positive(velocity_mm_s_rms=velocity_mm_s_rms)
    if machine_class not in ZONE_LIMITS_MM_S:
        allowed = ", ".join(ZONE_LIMITS_MM_S)
        raise InputError(
            say(
                "machine class must be one of {allowed}, not {machine_class!r}",
                allowed=allowed,
                machine_class=machine_class,
            )
        )
    limits = ZONE_LIMITS_MM_S[machine_class]
    letters: tuple[Literal["A", "B", "C"], ...] = ("A", "B", "C")
    for letter, limit in zip(letters, limits, strict=True):
        if velocity_mm_s_rms <= limit:
            return Zone(letter=letter, machine_class=machine_class, limits_mm_s=limits)
    return Zone(letter="D", machine_class=machine_class, limits_mm_s=limits)


def heater_resistance_ohm(rated_power_w: float, rated_voltage_v: float) -> float:
    """Resistance of a resistive element from its rating, V^2 / P."""
    _positive(rated_power_w=rated_power_w, rated_voltage_v=rated_voltage_v)
    return rated_voltage_v**2 / rated_power_w


def heater_load(
    rated_power_w: float, rated_voltage_v: float, *, voltage_v: float | None = None
) -> HeaterLoad:
    """What an element of this rating draws at `voltage_v` (at its rated voltage if not given).

    The element's resistance is taken as constant: heating wire changes by a few percent
    between cold and hot, which the meter's tolerance has to carry.
    """
    resistance = heater_resistance_ohm(rated_power_w, rated_voltage_v)
    present = rated_voltage_v if voltage_v is None else voltage_v
    _positive(voltage_v=present)
    return HeaterLoad(
        resistance_ohm=resistance,
        current_a=present / resistance,
        power_w=present**2 / resistance,
    )


def order_frequency_hz(order: float, speed_rpm: float) -> float:
    """Frequency of an order at a speed: order times n / 60."""
    _positive(order=order, speed_rpm=speed_rpm)
    return order * speed_rpm / 60.0
