"""Evidence as a reader wants it: numbers with their uncertainty, and rows as tables."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from spinlab.report.language import current, tell
from spinlab.report.words import NO_NUMBER, measured
from spinlab.result import plain

# A list in a sentence longer than this helps nobody; the JSON result has them all.
MOST_LISTED = 6
# From here on four digits would be written with an exponent.
_WHOLE_FROM = 9999.5
_SPREAD = "standard_uncertainty"
UNITS = {
    "rpm_per_s": "rpm/s",
    "w_per_rpm3": "W/rpm³",
    "w_per_rpm": "W/rpm",
    "percent": "%",
    "kg_m2": "kg m²",
    "m_per_s2": "m/s²",
    "m_s2_peak": "m/s² peak",
    "m_s2": "m/s²",
    "mm_s_rms": "mm/s RMS",
    "mm_s": "mm/s",
    "um_peak": "µm peak",
    "g_mm": "g mm",
    "dbfs": "dB re full scale",
    "mm_per_s": "mm/s",
    "rpm": "rpm",
    "khz": "kHz",
    "hz": "Hz",
    "db": "dB",
    "ms": "ms",
    "mm": "mm",
    "um": "µm",
    "nm": "N m",
    "deg": "°",
    "ohm": "Ω",
    "s": "s",
    "v": "V",
    "a": "A",
    "w": "W",
}


@dataclass(frozen=True, kw_only=True)
class EvidenceTable:
    """Rows of evidence: a heading per column, texts per row."""

    name: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def evidence_facts(evidence: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """(name, value with unit and uncertainty) of everything but rows of numbers.

    >>> evidence_facts({"rate_hz": 2.0, "rate_hz_standard_uncertainty": 0.05, "of": "speed"})
    (('rate', '2.00 ± 0.10 Hz'), ('of', 'speed'))
    """
    values = plain(evidence)
    found = []
    for name, value in values.items():
        if _belongs_to_another(name, values) or _is_rows(value) or value is None or value == []:
            continue
        label, unit = evidence_label(name)
        found.append((label, f"{_with_spread(name, values)} {unit}".strip()))
    return tuple(found)


def evidence_tables(evidence: Mapping[str, Any]) -> tuple[EvidenceTable, ...]:
    """Every list of rows as a table of its own."""
    values = plain(evidence)
    return tuple(_table(name, value) for name, value in values.items() if _is_rows(value))


def _is_rows(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(row, dict) for row in value)


def _table(name: str, rows: Sequence[dict[str, Any]]) -> EvidenceTable:
    keys = [key for key in rows[0] if not _belongs_to_another(key, rows[0])]
    heads = []
    for key in keys:
        label, unit = evidence_label(key)
        heads.append(f"{label} ({unit})" if unit else label)
    return EvidenceTable(
        name=evidence_label(name)[0],
        heads=tuple(heads),
        rows=tuple(tuple(_with_spread(key, row) for key in keys) for row in rows),
    )


def _belongs_to_another(name: str, values: Mapping[str, Any]) -> bool:
    """Whether an entry is the uncertainty of another entry."""
    return any(_spread_names(other)[0] == name or name in _spread_names(other) for other in values)


def _spread_names(name: str) -> tuple[str, ...]:
    label, unit = _stem(name)
    return (
        f"{name}_{_SPREAD}",
        f"{label}_{_SPREAD}_{unit}" if label else f"{_SPREAD}_{unit}",
        *((f"{_SPREAD}_{unit}",) if label == "speed" and unit else ()),
        *((_SPREAD,) if name in ("level", "index") else ()),
    )


def _with_spread(name: str, values: Mapping[str, Any]) -> str:
    value = values.get(name)
    spread = next(
        (values[n] for n in _spread_names(name) if isinstance(values.get(n), int | float)), None
    )
    if spread is not None and isinstance(value, int | float) and not isinstance(value, bool):
        return measured(float(value), float(spread))
    return evidence_value(value)


def evidence_label(name: str) -> tuple[str, str]:
    """A measurement's name, in the language of the report, with its unit split off.

    >>> evidence_label("modulation_depth_percent")
    ('modulation depth', '%')
    """
    stem, ending = _stem(name)
    words = (stem or ending).replace("_", " ")
    return tell(words), tell(UNITS[ending]) if ending in UNITS else ""


def _stem(name: str) -> tuple[str, str]:
    for ending in UNITS:
        if name.endswith(f"_{ending}") or name == ending:
            return name[: -len(ending)].rstrip("_"), ending
    return name, ""


def evidence_value(value: object) -> str:
    """A piece of evidence, a plain JSON value, as text: numbers to four digits, lists joined.

    >>> evidence_value([1.23456, None, True])
    '1.235, –, yes'
    """
    if isinstance(value, bool):
        return tell("yes") if value else tell("no")
    if isinstance(value, float):
        if not math.isfinite(value):
            return NO_NUMBER
        text = f"{value:.0f}" if abs(value) >= _WHOLE_FROM else f"{value:.4g}"
        return text.replace("-", "−").replace(".", current().decimal_mark)
    if isinstance(value, list | tuple):
        return _listed([evidence_value(part) for part in value])
    if isinstance(value, dict):
        return _listed([_named(name, part) for name, part in value.items()])
    return NO_NUMBER if value is None else tell(str(value))


def _named(name: str, value: object) -> str:
    label, unit = evidence_label(name)
    return f"{label} {evidence_value(value)} {unit}".strip()


def _listed(parts: list[str]) -> str:
    """The first few parts; how many were left out is said."""
    shown = ", ".join(parts[:MOST_LISTED]) or NO_NUMBER
    left = len(parts) - MOST_LISTED
    return shown if left <= 0 else tell("{shown} and {left} more", shown=shown, left=left)
