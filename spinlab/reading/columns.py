"""Which column of a log is time and which are acceleration: by name, else by content."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.reading.table import Table

# Words met in the columns of logging apps' exports; common practice, no published source.
_TIME_WORDS = frozenset(
    """t time times timestamp timestamps stamp s sec secs second seconds ms millis millisecond
    milliseconds us micros microsecond microseconds ns nanos nanosecond nanoseconds elapsed
    uptime clock date datetime utc zeit temps tiempo tempo""".split()  # noqa: SIM905
)
_MAGNITUDE_WORDS = frozenset(
    ("magnitude", "mag", "abs", "absolute", "total", "norm", "sum", "resultant", "atotal", "tgf")
)
# How words begin that name an acceleration, or something that is none.
_ACCELERATION = ("acc", "gf", "beschl", "linear", "force", "user")
_FOREIGN = (
    *("gyr", "rot", "omega", "angular", "magnet", "mf", "compass", "orient", "quat", "euler"),
    *("pitch", "roll", "yaw", "azimuth", "gravity", "lat", "lon", "alt", "gps", "temp", "press"),
    *("humid", "light", "prox", "batt", "step", "heart", "noise", "db"),
)
_FOREIGN_STEMS = frozenset(("w", "m", "q", "mag", "rad", "deg"))
_DERIVED = ("linear", "user")  # freed of gravity by the phone's own filter
_AXIS = re.compile(r"^(?P<stem>.*?)[\s_.\-]*(?P<axis>[xyz])$", re.I)
_BRACKETS = re.compile(r"[(\[{].*?[)\]}]")
_ISO_START = re.compile(r"\d{4}-?\d\d-?\d\d|\d\d:\d\d")


@dataclass(frozen=True, kw_only=True)
class Roles:
    """Column numbers: time (None if there is none) and acceleration with channel names."""

    time: int | None
    values: tuple[int, ...]
    names: tuple[str, ...]


def find_roles(table: Table) -> Roles:
    """Roles of the columns; names win over content where they say something."""
    time = _time_column(table)
    named = _named_axes(table, time)
    if named:
        return Roles(time=time, values=tuple(named.values()), names=tuple(named))
    values = [
        k
        for k, name in enumerate(table.header)
        if k != time
        and k not in table.texts
        and not (_is_time_name(name) or _is_foreign(name))
        and not _is_counter(table.numbers[k])
    ]
    if time is not None and len(values) >= 3:
        return Roles(time=time, values=tuple(values[:3]), names=("x", "y", "z"))
    if len(values) == 1:
        return Roles(time=time, values=tuple(values), names=("acceleration",))
    return Roles(time=time, values=tuple(values), names=tuple(f"column {k + 1}" for k in values))


def words_of(name: str) -> list[str]:
    """Lower-case words of a column's name without its unit in brackets."""
    bare = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", _BRACKETS.sub(" ", name))
    return [word for word in re.split(r"[^a-zµ0-9]+", bare.lower()) if word]


def _named_axes(table: Table, time: int | None) -> dict[str, int]:
    """x, y, z of the accelerometer's group of columns, or its magnitude."""
    groups: dict[str, dict[str, int]] = {}
    magnitude: dict[str, int] = {}
    for k, name in enumerate(table.header):
        if k == time or k in table.texts or _is_foreign(name):
            continue
        bare = _BRACKETS.sub("", name).strip()
        axis = _AXIS.match(bare)
        if axis:
            group = groups.setdefault(axis["stem"].lower().strip(" _.-"), {})
            group.setdefault(axis["axis"].lower(), k)
        elif _MAGNITUDE_WORDS & set(words_of(name)) or re.fullmatch(r"\|?a(cc\w*)?\|?", bare, re.I):
            magnitude.setdefault("magnitude", k)
    best = max(groups.items(), key=_group_rank, default=None)
    if best is None:
        return magnitude
    return {axis: best[1][axis] for axis in "xyz" if axis in best[1]}


def _group_rank(item: tuple[str, dict[str, int]]) -> tuple[int, int, bool, int]:
    """Complete groups first, then those called acceleration, then unfiltered ones, then order."""
    stem, axes = item
    called = 2 if _says(stem, _ACCELERATION) or stem == "a" else int(stem != "g")
    return len(axes), called, not _says(stem, _DERIVED), -min(axes.values())


def _says(name: str, openings: tuple[str, ...]) -> bool:
    return any(word.startswith(openings) for word in words_of(name))


def _is_foreign(name: str) -> bool:
    axis = _AXIS.match(_BRACKETS.sub("", name).strip())
    stem = words_of(axis["stem"])[-1:] if axis else []
    # "linear acceleration without gravity" is an acceleration, "gravity x" is not.
    if _says(name, ("acc",)):
        return _says(name, ("gyr", "magnet"))
    return _says(name, _FOREIGN) or bool(_FOREIGN_STEMS & set(stem))


def _is_time_name(name: str) -> bool:
    words = words_of(name)
    if not words or (_AXIS.match(name.strip()) and len(words) > 1):
        return False
    return bool(_TIME_WORDS & {words[0], words[-1], *(w for w in words if len(w) > 3)})


def _is_counter(values: NDArray[np.float64]) -> bool:
    """A row number: whole numbers that rise by one throughout."""
    return len(values) > 2 and bool(np.all(np.diff(values) == 1))


def _time_column(table: Table) -> int | None:
    """The named time column that tells most instants apart, else one that only rises."""
    named = [k for k, name in enumerate(table.header) if _is_time_name(name)]
    numeric = [k for k in named if k not in table.texts]
    if numeric:
        return max(numeric, key=lambda k: _time_rank(table, k))
    dates = [k for k, cells in table.texts.items() if cells and _ISO_START.match(cells[0])]
    if named or dates:
        return [*(k for k in named if k in dates), *dates, *named][0]
    rising = [k for k, column in enumerate(table.numbers) if _rises(column)]
    return next((k for k in rising if not _is_counter(table.numbers[k])), None)


def _time_rank(table: Table, column: int) -> tuple[bool, bool, int, int]:
    """The accelerometer's own stamps, then nobody's, then the finest, then the first."""
    name = table.header[column]
    return (
        _says(name, _ACCELERATION),
        not _says(name, _FOREIGN),
        len(np.unique(table.numbers[column])),
        -column,
    )


def _rises(values: NDArray[np.float64]) -> bool:
    """Whether a column behaves as a clock: nearly every step upwards, none much larger."""
    finite = values[np.isfinite(values)]
    if len(finite) < 3:
        return False
    steps = np.diff(finite)
    return bool(np.mean(steps >= 0) > 0.98 and np.mean(steps > 0) > 0.05)
