"""Which column of a log is time and which are acceleration: by name, else by content."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.reading.table import Table

# Names met in exports, split into words; "value from memory" of many apps' files, no standard.
_TIME_WORDS = frozenset(
    ["t", "time", "times", "timestamp", "timestamps", "stamp", "sec", "secs", "second", "seconds", "s", "ms", "millis", "millisecond", "milliseconds", "us", "micros", "microseconds", "ns", "nanos", "nanoseconds", "elapsed", "uptime", "clock", "date", "datetime", "utc", "zeit", "temps", "tiempo", "tempo"]
)
_FOREIGN_WORDS = ["gyr", "rot", "omega", "angular", "magnet", "mfx", "mfy", "mfz", "compass", "orient", "quat", "euler", "pitch", "roll", "yaw", "azimuth", "gravity", "lat", "lon", "alt", "gps", "temp", "press", "humid", "light", "prox", "batt", "step", "heart", "noise", "db"]
_MAGNITUDE_WORDS = frozenset(
    ["magnitude", "mag", "abs", "absolute", "total", "norm", "sum", "resultant", "atotal", "tgf"]
)
_ACCELERATION_WORDS = ("acc", "gf", "beschl", "linear", "force")
_AXIS = re.compile(r"^(?P<stem>.*?)[\s_.\-]*(?P<axis>[xyz])$", re.I)
_BRACKETS = re.compile(r"[(\[{].*?[)\]}]")


@dataclass(frozen=True, kw_only=True)
class Roles:
    """Column numbers: time (None if there is none) and acceleration with channel names."""

    time: int | None
    values: tuple[int, ...]
    names: tuple[str, ...]
    by_name: bool


def words_of(name: str) -> list[str]:
    """Lower-case words of a column's name without its unit in brackets."""
    bare = _BRACKETS.sub(" ", name)
    bare = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", bare)
    return [word for word in re.split(r"[^a-z0-9|]+", bare.lower()) if word]


def find_roles(table: Table) -> Roles:
    """Roles of the columns; names win over content where they say something."""
    time = _time_column(table)
    named = _named_axes(table, time)
    if named:
        return Roles(
            time=time,
            values=tuple(named.values()),
            names=tuple(named),
            by_name=True,
        )
    values = [
        k
        for k in range(len(table.header))
        if k != time
        and k not in table.texts
        and not _is_time_name(table.header[k])
        and not _is_foreign(table.header[k])
        and not _is_counter(table.numbers[k])
    ]
    return _unnamed(table, time, values)


def _unnamed(table: Table, time: int | None, values: list[int]) -> Roles:
    if time is not None and len(values) >= 3:
        names: tuple[str, ...] = ("x", "y", "z")
        values = values[:3]
    elif len(values) == 1:
        names = ("acceleration",)
    else:
        names = tuple(f"column {k + 1}" for k in values)
    return Roles(time=time, values=tuple(values), names=names, by_name=False)


def _named_axes(table: Table, time: int | None) -> dict[str, int]:
    """x, y, z of the accelerometer's group of columns, or its magnitude."""
    groups: dict[str, dict[str, int]] = {}
    magnitude: dict[str, int] = {}
    for k, name in enumerate(table.header):
        if k == time or k in table.texts or _is_foreign(name):
            continue
        bare = _BRACKETS.sub("", name).strip()
        if match := _AXIS.match(bare):
            group = groups.setdefault(match["stem"].lower().strip(), {})
            group.setdefault(match["axis"].lower(), k)
        elif _MAGNITUDE_WORDS & set(words_of(name)) or re.fullmatch(r"\|?a(cc\w*)?\|?", bare, re.I):
            magnitude.setdefault("magnitude", k)
    best = max(groups.items(), key=_group_rank, default=None)
    if best is None:
        return magnitude
    return {axis: best[1][axis] for axis in "xyz" if axis in best[1]}


def _group_rank(item: tuple[str, dict[str, int]]) -> tuple[int, bool, bool, int]:
    """Complete groups first, then those called acceleration, then raw before derived, then first."""
    stem, axes = item
    called = any(word in stem for word in _ACCELERATION_WORDS) or stem in ("a", "")
    derived = "linear" in stem or "user" in stem
    return len(axes), called, not derived, -min(axes.values())


def _is_foreign(name: str) -> bool:
    words = words_of(name)
    return any(word.startswith(prefix) for word in words for prefix in _FOREIGN_WORDS) or any(
        re.fullmatch(r"[wmq][xyz]?", word) for word in words
    )


def _is_time_name(name: str) -> bool:
    words = words_of(name)
    return bool(words) and (words[0] in _TIME_WORDS or words[-1] in _TIME_WORDS)


def _is_counter(values: NDArray[np.float64]) -> bool:
    """A row number: whole numbers that rise by one throughout."""
    return len(values) > 2 and bool(np.all(np.diff(values) == 1))


def _time_column(table: Table) -> int | None:
    """The named time column that tells most instants apart, else one that only rises."""
    named = [k for k, name in enumerate(table.header) if _is_time_name(name)]
    numeric = [k for k in named if k not in table.texts]
    if numeric:
        return max(numeric, key=lambda k: (len(np.unique(table.numbers[k])), -k))
    if named:
        return named[0]
    for k, cells in table.texts.items():
        if cells and re.match(r"\d{4}-?\d\d-?\d\d|\d\d:\d\d", cells[0]):
            return k
    rising = [k for k, column in enumerate(table.numbers) if _rises(column)]
    fractional = [k for k in rising if not _is_counter(table.numbers[k])]
    return (fractional or [None])[0]


def _rises(values: NDArray[np.float64]) -> bool:
    """Whether a column behaves as a clock: nearly every step upwards, no matter how far."""
    finite = values[np.isfinite(values)]
    if len(finite) < 3:
        return False
    steps = np.diff(finite)
    return bool(np.mean(steps >= 0) > 0.98 and np.mean(steps > 0) > 0.05 and finite[-1] > finite[0])
