"""The technician's meter readings as rows of text."""

from __future__ import annotations

from collections.abc import Sequence

from spinlab.meter import Reading
from spinlab.report.language import tell
from spinlab.report.words import NO_NUMBER, clock, number

# (field, unit, decimals) of every quantity that a meter gives.
_QUANTITIES = (
    ("voltage_v", "V", 1),
    ("current_a", "A", 2),
    ("power_w", "W", 0),
    ("resistance_ohm", "Ω", 1),
)


def reading_rows(readings: Sequence[Reading]) -> tuple[tuple[str, str, str], ...]:
    """(what was read, when or at which speed, the values) of each reading."""
    return tuple(
        (reading.label or tell("reading"), _when(reading), _values(reading)) for reading in readings
    )


def _when(reading: Reading) -> str:
    parts = []
    if reading.speed_rpm is not None:
        parts.append(tell("{speed:.0f} rpm", speed=reading.speed_rpm))
    if reading.time_s is not None:
        parts.append(clock(reading.time_s))
    return ", ".join(parts) or NO_NUMBER


def _values(reading: Reading) -> str:
    found = [
        f"{number(value, decimals)} {unit}"
        for name, unit, decimals in _QUANTITIES
        if (value := getattr(reading, name)) is not None
    ]
    return ", ".join(found) or NO_NUMBER
