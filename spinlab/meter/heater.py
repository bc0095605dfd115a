"""The heating element from meter readings: its resistance against the one its rating asks for.

A reading counts as one of the heater where its label says so (heat, heater, heating, element) or
where ohms were read.  Sources: Ohm's law; about 9 A and 2 kW at 240 V is a trade observation
(common practice, no published source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spinlab.meter.readings import MeterAccuracy, Reading
from spinlab.reference import heater_load, heater_resistance_ohm
from spinlab.speed.track import Estimate

HEATER_WORDS = ("heat", "heater", "heating", "element")


@dataclass(frozen=True, kw_only=True)
class HeaterReading:
    """One reading of the element against its rating.

    Attributes:
        name: name of the reading.
        resistance_ohm: from volts over amperes, or read directly; None at no current (open).
        expected_ohm, expected_current_a: what the rating asks for, at the voltage read.
        ratio: measured over expected resistance, None without a resistance or a rating.
        current_a: the current read, if any.
    """

    name: str
    resistance_ohm: Estimate | None
    expected_ohm: float | None
    expected_current_a: float | None
    ratio: Estimate | None
    current_a: float | None


def heater_readings(
    readings: Sequence[Reading],
    *,
    rated_power_w: float | None = None,
    rated_voltage_v: float | None = None,
    accuracy: MeterAccuracy | None = None,
) -> tuple[HeaterReading, ...]:
    """Every heater reading held against the element's rating (if that is known)."""
    accuracy = accuracy or MeterAccuracy()
    rated = rated_power_w is not None and rated_voltage_v is not None
    found = []
    for reading in readings:
        if not is_heater_reading(reading):
            continue
        resistance = _resistance(reading, accuracy)
        expected = current = None
        if rated:
            expected = heater_resistance_ohm(rated_power_w, rated_voltage_v)  # type: ignore[arg-type]
            if reading.voltage_v:
                load = heater_load(rated_power_w, rated_voltage_v, voltage_v=reading.voltage_v)  # type: ignore[arg-type]
                current = load.current_a
        ratio = None
        if resistance is not None and expected is not None:
            ratio = Estimate(
                value=resistance.value / expected,
                standard_uncertainty=resistance.standard_uncertainty / expected,
            )
        found.append(
            HeaterReading(
                name=reading.name,
                resistance_ohm=resistance,
                expected_ohm=expected,
                expected_current_a=current,
                ratio=ratio,
                current_a=reading.current_a,
            )
        )
    return tuple(found)


def is_heater_reading(reading: Reading) -> bool:
    """True where the label names the heater, or ohms were read."""
    words = reading.label.split()
    return reading.resistance_ohm is not None or any(word in HEATER_WORDS for word in words)


def _resistance(reading: Reading, accuracy: MeterAccuracy) -> Estimate | None:
    """Resistance of the element with its standard uncertainty; None at no current."""
    if reading.resistance_ohm is not None:
        u = accuracy.standard_uncertainty(reading.resistance_ohm, accuracy.resistance_ohm)
        return Estimate(value=reading.resistance_ohm, standard_uncertainty=u)
    v, a = reading.voltage_v, reading.current_a
    if a is None and v and reading.power_w:
        a = reading.power_w / v
    if not v or not a or a <= 2.0 * accuracy.current_a:
        return None
    relative = np.hypot(
        accuracy.standard_uncertainty(v, accuracy.voltage_v) / v,
        accuracy.standard_uncertainty(a, accuracy.current_a) / a,
    )
    return Estimate(value=v / a, standard_uncertainty=float(v / a * relative))
