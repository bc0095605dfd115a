"""Rows of several sensors mixed in one table: which of them are the accelerometer's."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from spinlab.reading.table import Table
from spinlab.reading.units import still_norm
from spinlab.reference import STANDARD_GRAVITY_M_S2

_MOST_SENSORS = 20
_ACCELEROMETER = re.compile(r"^(a|acc.*|lin.*acc.*|type_acc.*|.*accelerometer.*)$", re.I)
# Columns so named tell sensors apart even where they hold numbers.
_SENSOR_NAMES = re.compile(r"^(sensor|sensor[ _-]?(id|name|type)|type|kind)$", re.I)


def accelerometer_rows(table: Table, values: tuple[int, ...]) -> NDArray[np.bool_] | None:
    """Mask of the accelerometer's rows, or None where the rows are all of one kind.

    The tag's own word decides; where none says accelerometer, the rows whose stillest part has
    the norm of gravity, in m/s2 or g.
    """
    tags = _tags(table)
    if tags is None:
        return None
    kinds = sorted(set(tags) - {""})
    column = np.array(tags)
    called = [kind for kind in kinds if _ACCELEROMETER.match(kind)]
    raw = [kind for kind in called if not kind.lower().startswith("lin")]
    if called:
        return np.asarray(column == (raw or called)[0])
    for kind in kinds:
        mask = np.asarray(column == kind)
        norm = still_norm(table.numbers[np.array(values)][:, mask])
        if any(0.85 < norm / gravity < 1.18 for gravity in (1.0, STANDARD_GRAVITY_M_S2)):
            return mask
    return None


def _tags(table: Table) -> list[str] | None:
    """Cells of the column that names the sensor: few different words, each often."""
    for cells in table.texts.values():
        kinds = set(cells) - {""}
        if 2 <= len(kinds) <= _MOST_SENSORS and len(cells) > 10 * len(kinds):
            return cells
    for k, name in enumerate(table.header):
        numeric = k not in table.texts and _SENSOR_NAMES.match(name.strip())
        if numeric and 2 <= len(np.unique(table.numbers[k])) <= _MOST_SENSORS:
            return [f"{number:g}" for number in table.numbers[k]]
    return None
