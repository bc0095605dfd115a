"""Meter readings as typed or loaded: volts, amperes, watts, ohms at a speed, stage or time.

Conventions: SI units in the names, speeds in rpm of the drum, times in s on the recording's own
clock.  A quantity that was not read is None, never 0.
"""

from __future__ import annotations

import csv
import math
import re
import tomllib
import unicodedata
from dataclasses import dataclass, fields
from pathlib import Path

from spinlab.errors import InputError
from spinlab.phrase import say

CAUTION = (
    "Readings on live parts are for a person qualified for them, with instruments rated for the "
    "circuit: mains kills, capacitors hold charge after the plug is out, and the drum turns "
    "fast. Prefer a plug-in meter and a closed door. Measure ohms only with the plug pulled and "
    "the part disconnected; let the heater and the water cool. The maker's instructions and "
    "local rules come first."
)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One line of the technician's notes.

    Attributes:
        label: the words typed beside the numbers ("heat", "spin"), lower case.
        time_s: when it was read, on the recording's clock.
        speed_rpm: drum speed or plateau at which it was read.
        voltage_v, current_a, power_w: RMS voltage, RMS current, real power.
        resistance_ohm: resistance read with the plug pulled.
    """

    label: str = ""
    time_s: float | None = None
    speed_rpm: float | None = None
    voltage_v: float | None = None
    current_a: float | None = None
    power_w: float | None = None
    resistance_ohm: float | None = None

    @property
    def name(self) -> str:
        """Short name for messages: label, speed and time as far as given."""
        speed = "" if self.speed_rpm is None else f"{self.speed_rpm:g} rpm"
        time = "" if self.time_s is None else f"at {self.time_s:g} s"
        return " ".join(part for part in (self.label, speed, time) if part) or "reading"


@dataclass(frozen=True, kw_only=True)
class MeterAccuracy:
    """How far a meter may be off (half-width of a rectangular distribution): share plus digits.

    The defaults are what plug-in energy meters and clamp meters are usually sold with:
    common practice, no published source.  Half-width over sqrt(3) is the standard uncertainty
    (JCGM 100:2008, 4.3.7).
    """

    share: float = 0.02
    voltage_v: float = 1.0
    current_a: float = 0.05
    power_w: float = 2.0
    resistance_ohm: float = 0.2

    def standard_uncertainty(self, value: float, floor: float) -> float:
        """Standard uncertainty of one value whose last digits are worth `floor`."""
        return (self.share * abs(value) + floor) / math.sqrt(3.0)


# What a household machine on household mains can show at all; beyond it a unit was mistyped.
_LIMITS: dict[str, tuple[float, float, str]] = {
    "time_s": (0.0, 86400.0, "seconds or mm:ss"),
    "speed_rpm": (0.0, 3000.0, "rpm of the drum, not of the motor"),
    "voltage_v": (0.0, 500.0, "volts"),
    "current_a": (0.0, 100.0, "amperes (write 850mA for milliamperes)"),
    "power_w": (0.0, 12000.0, "watts (write 2kW for kilowatts)"),
    "resistance_ohm": (0.0, 1e9, "ohms"),
}

_UNITS: dict[str, tuple[str, float]] = {
    "rpm": ("speed_rpm", 1.0),
    "v": ("voltage_v", 1.0),
    "a": ("current_a", 1.0),
    "ma": ("current_a", 1e-3),
    "w": ("power_w", 1.0),
    "kw": ("power_w", 1e3),
    "ohm": ("resistance_ohm", 1.0),
    "ohms": ("resistance_ohm", 1.0),
    "Ω": ("resistance_ohm", 1.0),
    "kohm": ("resistance_ohm", 1e3),
    "s": ("time_s", 1.0),
}
_CLOCK = re.compile(r"(?<![\w.,:])(?:(\d+):)?(\d{1,3}):(\d{2}(?:\.\d+)?)(?![\w:])")
_QUANTITY = re.compile(r"(?<![\w.,])([-+]?\d+(?:[.,]\d+)?)\s*([a-zA-ZΩ]+)")
_EXAMPLE = "write it like '1200rpm 238V 1.6A 300W'"


def parse_reading(text: str) -> Reading:
    """Read one typed line such as ``"1200rpm 238V 1.6A 300W"`` or ``"heat 12:30 238V 8.6A"``.

    Numbers carry their unit (rpm, V, A, mA, W, kW, ohm, kohm, s, or a clock mm:ss); a decimal
    comma is understood; other words become the label.

    Raises:
        InputError: nothing was measured, a unit is unknown, given twice or out of bounds.
    """
    values: dict[str, float] = {}
    text = unicodedata.normalize("NFKC", text)  # the ohm sign and the Greek letter become one
    rest = text
    for match in _CLOCK.finditer(text):
        hours, minutes, seconds = match.groups()
        value = 3600 * float(hours or 0) + 60 * float(minutes) + float(seconds)
        _put(values, "time_s", value, text)
        rest = rest.replace(match.group(0), " ", 1)
    for match in _QUANTITY.finditer(rest):
        number, unit = match.groups()
        known = _UNITS.get(unit) or _UNITS.get(unit.lower())
        if known is None:
            raise InputError(
                say(
                    "unknown unit '{unit}' in the reading '{text}': {example}",
                    unit=unit,
                    text=text,
                    example=_EXAMPLE,
                )
            )
        _put(values, known[0], float(number.replace(",", ".")) * known[1], text)
    label = " ".join(re.findall(r"[^\W\d_]{2,}", _QUANTITY.sub(" ", rest))).lower()
    if re.search(r"\d", _QUANTITY.sub(" ", rest)):
        raise InputError(
            say(
                "a number without a unit in the reading '{text}': {example}",
                text=text,
                example=_EXAMPLE,
            )
        )
    return _checked(label, values, text)


def load_readings(path: str | Path) -> tuple[Reading, ...]:
    """Load readings from a CSV table or a TOML file.

    CSV: one reading a row, columns named as the fields of `Reading` or by their unit (rpm, V, A,
    W, ohm, s, stage/label), separated by comma, semicolon or tab.  TOML: ``[[reading]]`` tables
    with the fields of `Reading`, or ``readings = ["1200rpm 300W", ...]``.

    Raises:
        InputError: the file is missing, holds no reading, or a row makes no sense.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            say("the readings file {path} cannot be read as text: {error}", path=path, error=error)
        ) from None
    found = _from_toml(text, path) if path.suffix.lower() == ".toml" else _from_csv(text, path)
    if not found:
        raise InputError(
            say(
                "the readings file {path} holds no reading: {example}, or use a table",
                path=path,
                example=_EXAMPLE,
            )
        )
    return tuple(found)


def _from_toml(text: str, path: Path) -> list[Reading]:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            say("the readings file {path} is not valid TOML: {error}", path=path, error=error)
        ) from None
    found = [parse_reading(str(line)) for line in data.get("readings", [])]
    names = {f.name for f in fields(Reading)}
    for table in data.get("reading", []):
        unknown = sorted(set(table) - names)
        if unknown:
            allowed = ", ".join(sorted(names))
            raise InputError(
                say(
                    "{path}: unknown key '{value}' in a reading; use {allowed}",
                    path=path,
                    value=unknown[0],
                    allowed=allowed,
                )
            )
        label = str(table.get("label", ""))
        values = {name: _number(value, path) for name, value in table.items() if name != "label"}
        found.append(_checked(label, values, f"{path}: {table}"))
    return found


def _from_csv(text: str, path: Path) -> list[Reading]:
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if not lines:
        return []
    separator = max(";\t,", key=lines[0].count)
    rows = list(csv.reader(lines, delimiter=separator))
    columns = [_column(name, path) for name in rows[0]]
    found = []
    for row in rows[1:]:
        label, values = "", {}
        for column, cell in zip(columns, row, strict=False):
            if isinstance(column, str):
                label = cell.strip()
            elif cell.strip():
                name, scale = column
                values[name] = _number(cell, path) * scale
        found.append(_checked(label, values, f"{path}: {separator.join(row)}"))
    return found


def _column(header: str, path: Path) -> tuple[str, float] | str:
    name = header.strip().lower()
    if name in {"label", "stage", "phase"}:
        return "label"
    if name in _LIMITS:
        return name, 1.0
    unit = name.strip("[]() ")
    if unit in _UNITS:
        return _UNITS[unit]
    raise InputError(
        say(
            "{path}: unknown column '{header}'; use label, time_s, speed_rpm, "
            "voltage_v, current_a, power_w, resistance_ohm",
            path=path,
            header=header,
        )
    )


def _number(value: object, path: Path) -> float:
    text = str(value).strip()
    clock = _CLOCK.fullmatch(text)
    if clock:
        return parse_reading(f"{text} 0W").time_s or 0.0
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise InputError(say("{path}: '{text}' is not a number", path=path, text=text)) from None


def _put(values: dict[str, float], name: str, value: float, text: str) -> None:
    if name in values:
        raise InputError(say("{name} is given twice in the reading '{text}'", name=name, text=text))
    values[name] = value


def _checked(label: str, values: dict[str, float], text: str) -> Reading:
    for name, value in values.items():
        low, high, unit = _LIMITS[name]
        if not (math.isfinite(value) and low <= value <= high):
            raise InputError(
                say(
                    "{name} = {value:g} in '{text}' is outside {low:g} to {high:g}: give {unit}",
                    name=name,
                    value=value,
                    text=text,
                    low=low,
                    high=high,
                    unit=unit,
                )
            )
    if not {"voltage_v", "current_a", "power_w", "resistance_ohm"} & set(values):
        raise InputError(
            say(
                "no volts, amperes, watts or ohms in the reading '{text}': {example}",
                text=text,
                example=_EXAMPLE,
            )
        )
    return Reading(label=label.lower(), **values)
