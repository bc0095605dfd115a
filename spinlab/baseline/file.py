"""The baseline's file: TOML that a person can read, format "spinlab.baseline", version 1."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from spinlab.baseline.value import Baseline, LeftOut, Reference, Where
from spinlab.envelope.kurtosis import Band
from spinlab.errors import InputError, printable
from spinlab.phrase import say

FORMAT = "spinlab.baseline"
VERSION = 1
LARGEST_FILE = 20_000_000
_HEAD = """\
# What good units of one model show, made by spinlab. Levels in dB: for sound, power over the
# recording's own noise floor; for acceleration, amplitude re 1 m/s2. middle_db is the median of
# the good recordings, spread_db their robust standard deviation; one entry for each order, and nan
# where there is no number. Speeds are the drum's, orders are multiples of its turning.
"""


def baseline_toml(baseline: Baseline) -> str:
    """A baseline as the text of its file."""
    return _HEAD + "\n".join(_lines(baseline)) + "\n"


def _lines(baseline: Baseline) -> Iterator[str]:
    from spinlab import __version__

    yield f"format = {_text(FORMAT)}"
    yield f"version = {VERSION}"
    yield f"software = {_text('spinlab ' + __version__)}"
    yield f"machine = {_text(baseline.machine)}"
    yield f"kind = {_text(baseline.kind)}"
    yield f"rate_hz = {baseline.rate_hz!r}"
    for name, sha256 in baseline.recordings.items():
        yield "\n[[recording]]"
        yield f"file = {_text(name)}"
        yield f"sha256 = {_text(sha256)}"
    for left in baseline.left_out:
        yield "\n[[left_out]]  # held against a baseline of the others; 0.05 outside is expected"
        yield f"file = {_text(left.file)}"
        yield f"outside_share = {left.outside_share:.4f}"
        yield f"departs = {str(left.departs).lower()}"
    for reference in baseline.references:
        yield from _reference(reference)


def _reference(reference: Reference) -> Iterator[str]:
    where = reference.where
    yield "\n[[reference]]"
    yield f"speed_rpm = {where.speed_rpm!r}"
    yield f"measure = {_text(where.measure)}"
    if where.band is not None:
        yield f"band_hz = [{where.band.low_hz!r}, {where.band.high_hz!r}]"
    yield f"count = {reference.count}"
    yield f"order = {_numbers(reference.order, 3)}"
    yield f"middle_db = {_numbers(reference.middle_db, 2)}"
    yield f"spread_db = {_numbers(reference.spread_db, 2)}"


def _text(value: str) -> str:
    """A basic TOML string (TOML 1.0.0): quotes, backslashes and control characters escaped."""
    escaped = "".join(
        f"\\u{ord(char):04X}" if ord(char) < 32 or ord(char) == 127 or char in '"\\' else char
        for char in value.encode("utf-8", "replace").decode("utf-8")
    )
    return f'"{escaped}"'


def _numbers(values: np.ndarray, decimals: int) -> str:
    shown = (f"{v:.{decimals}f}" if math.isfinite(v) else "nan" for v in values.tolist())
    return "[" + ", ".join(shown) + "]"


def load_baseline(path: str | Path) -> Baseline:
    """Read a baseline's file.

    Raises:
        InputError: it cannot be read, or is no baseline that this version understands.
    """
    name = printable(Path(path).name)
    try:
        if Path(path).stat().st_size > LARGEST_FILE:
            raise InputError(say("{name} is too large for a baseline (20 MB at most).", name=name))
        table = tomllib.loads(Path(path).read_text("utf-8"))
    except OSError as problem:
        raise InputError(
            say("{name} cannot be read: {strerror}.", name=name, strerror=problem.strerror)
        ) from problem
    except ValueError as problem:  # no UTF-8, or no TOML
        raise InputError(
            say("{name} is no valid TOML: {problem}.", name=name, problem=printable(problem))
        ) from problem
    if table.get("format") != FORMAT:
        raise InputError(say("{name} is no baseline; make one with spinlab baseline.", name=name))
    if table.get("version") != VERSION:
        raise InputError(
            say(
                "{name} is a baseline of version {value}, and this spinlab knows version "
                "{version}: make it again.",
                name=name,
                value=printable(table.get("version")),
                version=VERSION,
            )
        )
    try:
        return _baseline(table)
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise InputError(
            say(
                "{name} is a damaged baseline ({problem}): make it again.",
                name=name,
                problem=printable(problem),
            )
        ) from problem


def _baseline(table: dict[str, Any]) -> Baseline:
    kind = table["kind"]
    if kind not in ("sound", "acceleration"):
        raise ValueError("kind is neither sound nor acceleration")
    return Baseline(
        machine=str(table["machine"]),
        kind=kind,
        rate_hz=float(table["rate_hz"]),
        recordings={str(one["file"]): str(one["sha256"]) for one in table["recording"]},
        references=tuple(_read(one) for one in table["reference"]),
        left_out=tuple(
            LeftOut(
                file=str(one["file"]),
                outside_share=float(one["outside_share"]),
                departs=bool(one["departs"]),
            )
            for one in table.get("left_out", [])
        ),
    )


def _read(one: dict[str, Any]) -> Reference:
    measure = one["measure"]
    if measure not in ("envelope", "signal"):
        raise ValueError("measure is neither envelope nor signal")
    band = one.get("band_hz")
    order, middle, spread = (
        np.array([float(v) for v in one[key]]) for key in ("order", "middle_db", "spread_db")
    )
    if not len(order) == len(middle) == len(spread):
        raise ValueError("order, middle_db and spread_db are not equally long")
    if not (np.nan_to_num(spread, nan=1.0) > 0).all() or not float(one["speed_rpm"]) > 0:
        raise ValueError("a spread or a speed is not above zero")
    return Reference(
        where=Where(
            speed_rpm=float(one["speed_rpm"]),
            measure=measure,
            band=None if band is None else Band(low_hz=float(band[0]), high_hz=float(band[1])),
        ),
        count=int(one["count"]),
        order=order,
        middle_db=middle,
        spread_db=spread,
    )
