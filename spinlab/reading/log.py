"""Acceleration logs: from a table of text to a `Recording` on an even grid."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spinlab.errors import InputError, UnreadableRecording, printable
from spinlab.phrase import say
from spinlab.reading.columns import Roles, find_roles
from spinlab.reading.decoded import MINIMUM_DURATION_S
from spinlab.reading.grid import SPLINE_SHARE, Gridded, evenly
from spinlab.reading.repair import Repairs
from spinlab.reading.rows import accelerometer_rows
from spinlab.reading.stamps import Clock, fit_clock
from spinlab.reading.table import Table, read_table
from spinlab.reading.tidy import Tidied, longest_part, tidy
from spinlab.reading.units import acceleration_scale, clock_seconds, time_scale
from spinlab.recording import Recording, Remark, SampleClock, Source

# Fewer rows than this hold no turn of a drum at any rate that a phone has.
MINIMUM_ROWS = 16
# No sensor in a phone reads more than some 16 g; this is a broken number.
ABSURD_M_S2 = 1e6


@dataclass(frozen=True, kw_only=True, eq=False)
class _Log:
    """The columns that matter, before any repair."""

    stamps_s: NDArray[np.float64] | None
    values: NDArray[np.float64]
    roles: Roles
    labels: list[str]
    remarks: tuple[Remark, ...]


def read_log(
    path: Path,
    *,
    name: str,
    sha256: str,
    acceleration_unit: str | None,
    rate_hz: float | None,
    progress: Callable[[float], None],
) -> Recording:
    """Read a text file as an acceleration log; `name` is the file's name fit for messages.

    Raises:
        UnreadableRecording: it is no table, has too few rows, or no acceleration column.
        InputError: it has no time column and no rate was stated.
    """
    table = read_table(path, progress=progress)
    if table is None or table.numbers.shape[1] < 2:
        raise UnreadableRecording(
            say(
                "{name} is text without a table of numbers, so neither sound nor an "
                "acceleration log: pick the recording itself.",
                name=name,
            )
        )
    log = _pick(table, name)
    if log.values.shape[1] < MINIMUM_ROWS:
        raise UnreadableRecording(
            say(
                "{name} holds only {value} rows of numbers: at least {minimum_rows} are "
                "needed, and a whole spin test to judge its stages.",
                name=name,
                value=log.values.shape[1],
                minimum_rows=MINIMUM_ROWS,
            )
        )
    scale = acceleration_scale(log.labels, log.values, stated=acceleration_unit)
    source = Source(
        file=printable(path.name), sha256=sha256, container="text table", codec=scale.origin
    )
    values = log.values * scale.factor
    values[np.abs(values) > ABSURD_M_S2] = np.nan
    log = replace(log, values=values, remarks=log.remarks + scale.remarks)
    if log.stamps_s is None:
        recording = _untimed(log, rate_hz=rate_hz, name=name, source=source)
    else:
        recording = _timed(log.stamps_s, log, name=name, source=source)
    if recording.duration_s < MINIMUM_DURATION_S:
        raise UnreadableRecording(
            say(
                "{name} lasts only {duration_s:.3f} s: at least {minimum_duration_s:g} s "
                "is needed, and a whole spin test to judge its stages.",
                name=name,
                duration_s=recording.duration_s,
                minimum_duration_s=MINIMUM_DURATION_S,
            )
        )
    return recording


def _pick(table: Table, name: str) -> _Log:
    """Time and acceleration columns, of the accelerometer's rows only."""
    roles = find_roles(table)
    if not roles.values:
        raise UnreadableRecording(
            say(
                "{name} is a table without an acceleration column: export time and x, y, "
                "z, or time and magnitude.",
                name=name,
            )
        )
    remarks: list[Remark] = []
    if table.skipped:
        remarks.append(
            Remark(
                what=f"Lines that do not fit the table: {table.skipped}.",
                consequence="They are left out; if they are many, export the log again.",
            )
        )
    rows = accelerometer_rows(table, roles.values)
    keep = np.ones(table.numbers.shape[1], dtype=bool) if rows is None else rows
    stamps: NDArray[np.float64] | None = None
    if roles.time is not None and roles.time in table.texts:
        cells = table.texts[roles.time]
        stamps = clock_seconds([cells[k] for k in np.flatnonzero(keep)])
    elif roles.time is not None:
        scale = time_scale(table.header[roles.time], table.numbers[roles.time][keep])
        stamps = table.numbers[roles.time][keep] * scale.factor
        remarks.extend(scale.remarks)
    return _Log(
        stamps_s=stamps,
        values=table.numbers[list(roles.values)][:, keep],
        roles=roles,
        labels=[table.header[k] for k in roles.values],
        remarks=tuple(remarks),
    )


def _untimed(log: _Log, *, rate_hz: float | None, name: str, source: Source) -> Recording:
    if rate_hz is None:
        raise InputError(
            say(
                "{name} has no time column, so its rate is unknown: state the samples per second.",
                name=name,
            )
        )
    if not 0 < rate_hz < np.inf:
        raise InputError(
            say(
                "{name} cannot have the stated rate of {rate_hz:g} samples per second: "
                "state a positive number.",
                name=name,
                rate_hz=rate_hz,
            )
        )
    repairs = Repairs(rate_hz=rate_hz)
    values = repairs.mend(np.nan_to_num(log.values.T, nan=np.inf).astype(np.float32)).T
    remark = Remark(
        what="The log has no times of its own.",
        consequence="Every speed and time is as true as the stated rate.",
    )
    return Recording(
        kind="acceleration",
        samples=np.ascontiguousarray(values),
        rate_hz=rate_hz,
        channel_names=log.roles.names,
        source=source,
        gaps=repairs.gaps(),
        remarks=(*log.remarks, remark, *repairs.remarks()),
    )


def _timed(stamps_s: NDArray[np.float64], log: _Log, *, name: str, source: Source) -> Recording:
    tidied = tidy(stamps_s, log.values)
    stamps, values, paused = longest_part(tidied.stamps_s, tidied.values)
    if len(np.unique(stamps)) < MINIMUM_ROWS:
        raise UnreadableRecording(
            say(
                "{name} has hardly any rows with both a time and readings: export the log again.",
                name=name,
            )
        )
    origin, moved = _origin(stamps)
    clock = fit_clock(stamps - origin)
    even = evenly(clock, values)
    return Recording(
        kind="acceleration",
        samples=even.values.astype(np.float32),
        rate_hz=clock.rate_hz,
        start_s=even.start_s,
        channel_names=log.roles.names,
        source=source,
        gaps=even.gaps,
        clock=_sample_clock(clock, tidied),
        remarks=log.remarks + tidied.remarks + paused + moved + _repairs(clock, even),
    )


def _repairs(clock: Clock, even: Gridded) -> tuple[Remark, ...]:
    """What was done to bring the rows onto an even grid."""
    found = []
    if not clock.even:
        found.append(
            Remark(
                what=f"The steps of the log truly vary, by {1e3 * clock.jitter_s:.1f} ms.",
                consequence="Its rows are interpolated onto an even grid: levels above "
                f"{SPLINE_SHARE * clock.rate_hz:.0f} Hz are too low.",
            )
        )
    if even.bridged:
        found.append(
            Remark(
                what=f"Single readings that are missing and were bridged: {even.bridged}.",
                consequence="Speeds are unaffected; weak lines stand in a slightly higher floor.",
            )
        )
    return tuple(found)


def _origin(stamps_s: NDArray[np.float64]) -> tuple[float, tuple[Remark, ...]]:
    """Time zero: the log's own if its clock started with it, else the first row."""
    first, last = float(stamps_s[0]), float(stamps_s[-1])
    if abs(first) <= last - first:
        return 0.0, ()
    return first, (
        Remark(
            what=f"The log's clock was already at {first:.3f} s when it began.",
            consequence="Times are counted from its first row.",
        ),
    )


def _sample_clock(clock: Clock, tidied: Tidied) -> SampleClock:
    return SampleClock(
        median_step_s=clock.median_step_s,
        jitter_s=clock.jitter_s,
        duplicates=tidied.duplicates,
        backward_steps=tidied.backward_steps,
        longest_gap_s=float(np.max(np.diff(clock.time_s), initial=0.0)),
        resampled=not clock.even,
    )
