"""Units of a log: seconds from its stamps, m/s2 from its readings.

A column's own label comes first, unless it makes the sensor run at an impossible rate; without a
label the size of the step tells the time's unit, and gravity on the still part the acceleration's.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, time

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Remark
from spinlab.reference import STANDARD_GRAVITY_M_S2

_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
_TIME_LABELS = {
    "s": {"s", "sec", "secs", "second", "seconds"},
    "ms": {"ms", "msec", "millis", "millisecond", "milliseconds"},
    "us": {"us", "µs", "μs", "usec", "micros", "microsecond", "microseconds"},
    "ns": {"ns", "nsec", "nanos", "nanosecond", "nanoseconds"},
}
# Sensors in phones deliver about 100 a second, 400 at most (vendors' notes, forum reports);
# a label that implies a rate outside these generous bounds is a slip.
_RATE_BOUNDS_HZ = (0.5, 50_000.0)
_TYPICAL_RATE_HZ = 100.0
_EPOCH_S = (9.4e8, 4.2e9)  # the years 2000 to 2103 in seconds since 1970
_G_LABEL = re.compile(r"(^|[\s_(\[])g('?s)?([\s)\]]|$)|\bgf[xyz]\b|g-?force", re.I)
_MILLI_G_LABEL = re.compile(r"(^|[\s_(\[])(mg|milli-?g)([\s)\]]|$)", re.I)
_SI_LABEL = re.compile(r"m\s*[/·*]?\s*s(ec)?\s*(\^|\*\*)?\s*-?[2²]|ms\^?-?[2²]", re.I)
# Norm of the mean reading of a phone at rest: 1 g within sensor offset and scale error.
_GRAVITY_SPREAD = (0.85, 1.18)


@dataclass(frozen=True, kw_only=True)
class Scale:
    """Factor to the SI unit, where it came from, and remarks on the way."""

    factor: float
    origin: str
    remarks: tuple[Remark, ...] = ()


def time_scale(name: str, stamps: NDArray[np.float64]) -> Scale:
    """Seconds per unit of a time column, from its label or the size of its steps."""
    finite = stamps[np.isfinite(stamps)]
    steps = np.diff(finite)
    moving = steps[steps > 0]
    if not len(moving):
        return Scale(factor=1.0, origin="unknown")
    # The mean of ordinary steps: a median of 0 (many equal stamps) or a pause must not decide.
    span = float(np.sum(moving[moving <= 20 * np.median(moving)]))
    step = span / max(1, int(np.sum((steps >= 0) & (steps <= 20 * np.median(moving)))))
    label = _time_label(name)
    if label and _RATE_BOUNDS_HZ[0] < 1 / (step * _SECONDS[label]) < _RATE_BOUNDS_HZ[1]:
        return Scale(factor=_SECONDS[label], origin=f"the column's label ({label})")
    unit = _unit_by_size(float(finite[0]), step)
    remarks: tuple[Remark, ...] = ()
    if label:
        remarks = (
            Remark(
                what=f"The time column says {label}, yet its steps only make sense in {unit}.",
                consequence=f"Its times are taken as {unit}: check one against a watch.",
            ),
        )
    return Scale(factor=_SECONDS[unit], origin=f"the size of its steps ({unit})", remarks=remarks)


def _time_label(name: str) -> str | None:
    words = [word for word in re.split(r"[^a-zµμ]+", name.lower()) if word]
    for word in reversed(words):
        for unit, labels in _TIME_LABELS.items():
            if word in labels and (word != "s" or len(words) > 1):
                return unit
    return None


def _unit_by_size(first: float, step: float) -> str:
    for unit, seconds in _SECONDS.items():
        plausible = _RATE_BOUNDS_HZ[0] < 1 / (step * seconds) < _RATE_BOUNDS_HZ[1]
        if _EPOCH_S[0] < first * seconds < _EPOCH_S[1] and plausible:
            return unit
    return min(
        _SECONDS, key=lambda unit: abs(np.log10(1 / (step * _SECONDS[unit]) / _TYPICAL_RATE_HZ))
    )


def clock_seconds(cells: list[str]) -> NDArray[np.float64]:
    """Seconds from ISO 8601 dates or times of day; nan for other cells; midnight is passed over."""
    seconds = np.array([_iso_seconds(cell) for cell in cells])
    if np.nanmax(seconds, initial=0.0) <= 86_400:
        good = np.isfinite(seconds)
        seconds[good] = np.unwrap(seconds[good], period=86_400)
    return seconds


def _iso_seconds(cell: str) -> float:
    text = cell.strip()
    try:
        moment = datetime.fromisoformat(text)
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    except ValueError:
        pass
    try:
        clock = time.fromisoformat(text)
    except ValueError:
        return np.nan
    return clock.hour * 3600 + clock.minute * 60 + clock.second + clock.microsecond * 1e-6


def acceleration_scale(
    names: list[str], values: NDArray[np.float64], *, stated: str | None
) -> Scale:
    """Factor from the log's readings, shape (channels, n), to m/s2.

    Args:
        names: labels of the columns.
        values: three axes or one magnitude; other numbers of channels show no gravity.
        stated: "m/s2" or "g" where the user said so, which settles it.
    """
    if stated is not None:
        return Scale(factor=STANDARD_GRAVITY_M_S2 if stated == "g" else 1.0, origin="as stated")
    still = still_norm(values) if len(values) in (1, 3) else np.nan
    label = " ".join(names)
    if _SI_LABEL.search(label):
        return Scale(factor=1.0, origin="the column's label (m/s2)")
    if _MILLI_G_LABEL.search(label):
        return Scale(factor=STANDARD_GRAVITY_M_S2 / 1e3, origin="the column's label (mg)")
    if _G_LABEL.search(label):
        return Scale(factor=STANDARD_GRAVITY_M_S2, origin="the column's label (g)")
    for gravity, factor, unit in (
        (1.0, STANDARD_GRAVITY_M_S2, "g"),
        (STANDARD_GRAVITY_M_S2, 1.0, "m/s2"),
        (1e3, STANDARD_GRAVITY_M_S2 / 1e3, "mg"),
    ):
        if _GRAVITY_SPREAD[0] < still / gravity < _GRAVITY_SPREAD[1]:
            return Scale(factor=factor, origin=f"gravity on the still part ({unit})")
    return _without_gravity(still)


def _without_gravity(still: float) -> Scale:
    if np.isfinite(still) and still > 2 * STANDARD_GRAVITY_M_S2:
        remark = Remark(
            what=f"The acceleration's unit is not stated, and the still part reads {still:.4g}.",
            consequence="Readings are scaled so that this is gravity: levels are right to the "
            "sensor's own few per cent.",
        )
        return Scale(
            factor=STANDARD_GRAVITY_M_S2 / still, origin="scaled to gravity", remarks=(remark,)
        )
    remark = Remark(
        what="The unit of the acceleration is not stated, and no gravity shows in it.",
        consequence="It is taken as m/s2: speeds are unaffected, levels may be wrong by a factor "
        "of 9.8 unless the unit is stated.",
    )
    return Scale(factor=1.0, origin="assumed", remarks=(remark,))


def still_norm(values: NDArray[np.float64]) -> float:
    """Norm of the mean vector in the stillest tenth of the recording; shape (channels, n) in."""
    good = values[:, np.isfinite(values).all(axis=0)]
    size = max(8, good.shape[1] // 200)
    count = good.shape[1] // size
    if count == 0:
        return float(np.linalg.norm(good.mean(axis=1))) if good.size else np.nan
    parts = good[:, : count * size].reshape(len(good), count, size)
    spread = parts.std(axis=2).sum(axis=0)
    stillest = np.argsort(spread)[: max(1, count // 10)]
    return float(np.median(np.linalg.norm(parts.mean(axis=2)[:, stillest], axis=0)))
