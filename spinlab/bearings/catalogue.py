"""The catalogue of bearing geometries, and the rows users add to it.

The shipped table stands in `catalogue.toml` beside this module, each row with its source and the
tolerance by which another maker's bearing of the same designation may differ.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import fields
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from spinlab.bearings.geometry import BearingGeometry
from spinlab.errors import InputError
from spinlab.phrase import say

_KEYS = tuple(field.name for field in fields(BearingGeometry))
_NEEDED = ("designation", "balls", "ball_diameter_mm", "pitch_diameter_mm")
# Seals, shields, clearance and cage codes change nothing inside: what follows the size number.
_SIZE = re.compile(r"^\s*(\d{3,5})(?!\d)")
# What is assumed of a row that states no tolerance and no exactness: makers differ.
_DEFAULT_TOLERANCE = 0.006


def load(extra_toml: str | Path | None = None) -> tuple[BearingGeometry, ...]:
    """Every row: those of a user's file first, then the shipped ones.

    Args:
        extra_toml: a TOML file with `[[bearing]]` tables of its own.

    Raises:
        InputError: the file cannot be read, or a row makes no sense.
    """
    if extra_toml is None:
        return _shipped()
    path = Path(extra_toml)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            say(
                "{name}: cannot be read as a TOML text file ({error}).", name=path.name, error=error
            )
        ) from error
    return _rows(text, path.name) + _shipped()


@cache
def _shipped() -> tuple[BearingGeometry, ...]:
    text = resources.files("spinlab.bearings").joinpath("catalogue.toml").read_text("utf-8")
    return _rows(text, "catalogue.toml")


def _rows(text: str, name: str) -> tuple[BearingGeometry, ...]:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            say("{name}: not valid TOML ({error}).", name=name, error=error)
        ) from error
    tables = data.get("bearing")
    if not isinstance(tables, list) or not tables:
        raise InputError(say("{name}: holds no [[bearing]] table.", name=name))
    sources = data.get("sources", {})
    return tuple(_row(table, i, name, sources) for i, table in enumerate(tables, start=1))


def _row(
    table: Mapping[str, Any], number: int, name: str, sources: Mapping[str, str]
) -> BearingGeometry:
    where = say("{name}: bearing {number}", name=name, number=number)
    if not isinstance(table, Mapping):
        raise InputError(say("{where} must be a [[bearing]] table.", where=where))
    for key in table:
        if key not in _KEYS:
            close = difflib.get_close_matches(key, _KEYS, n=1)
            hint = (
                say("; did you mean {close}?", close=close[0])
                if close
                else say("; allowed: {keys}.", keys=", ".join(_KEYS))
            )
            raise InputError(
                say("{where} has an unknown key {key!r}{hint}", where=where, key=key, hint=hint)
            )
    missing = [key for key in _NEEDED if key not in table]
    if missing:
        raise InputError(say("{where} lacks {missing}.", where=where, missing=", ".join(missing)))
    values: dict[str, Any] = {"tolerance": _DEFAULT_TOLERANCE, **table}
    for key, value in values.items():
        _check_type(key, value, where)
    source = str(values.get("source", f"row of {name}"))
    values["source"] = sources.get(source, source)
    try:
        return BearingGeometry(**values)
    except InputError as error:
        raise InputError(say("{where}: {error}", where=where, error=error.args[0])) from None


def _check_type(key: str, value: Any, where: str) -> None:
    wanted: tuple[type, ...]
    if key in ("designation", "source", "fixed_ring"):
        wanted, word = (str,), say("text in quotes")
    elif key == "exact":
        wanted, word = (bool,), say("true or false")
    elif key == "balls":
        wanted, word = (int,), say("a whole number")
    else:
        wanted, word = (int, float), say("a number")
    if not isinstance(value, wanted) or (isinstance(value, bool) and bool not in wanted):
        raise InputError(
            say(
                "{where}: {key} must be {word}, not {value!r}.",
                where=where,
                key=key,
                word=word,
                value=value,
            )
        )
    if key == "fixed_ring" and value not in ("outer", "inner"):
        raise InputError(
            say(
                '{where}: fixed_ring must be "outer" or "inner", not {value!r}.',
                where=where,
                value=value,
            )
        )
    if key == "tolerance" and isinstance(value, int | float) and not 0 <= value <= 0.2:
        raise InputError(
            say(
                "{where}: tolerance must lie between 0 and 0.2, not {value!r}.",
                where=where,
                value=value,
            )
        )


def variants(
    designation: str, rows: Iterable[BearingGeometry] | None = None
) -> tuple[BearingGeometry, ...]:
    """Every row for a designation: makers use different ball counts for some sizes.

    Suffixes for seals, shields and clearance ("6205-2RS", "6205 ZZ C3") are ignored unless a
    row carries exactly that designation.

    Raises:
        InputError: no row fits; the message names the closest ones.
    """
    table = _shipped() if rows is None else tuple(rows)
    wanted = " ".join(designation.upper().split())
    found = tuple(row for row in table if row.designation.upper() == wanted)
    if found:
        return found
    size = _SIZE.match(wanted)
    if size is not None:
        found = tuple(row for row in table if row.designation == size.group(1))
        if found:
            return found
    names = sorted({row.designation for row in table})
    close = difflib.get_close_matches(designation, names, n=3)
    hint = (
        say("the closest are {names}", names=", ".join(close))
        if close
        else say("it holds {names}", names=", ".join(names))
    )
    raise InputError(
        say(
            "Bearing {designation!r} is not in the catalogue; {hint}. Give its "
            "geometry in the machine profile, or add a row in a TOML file of your "
            "own.",
            designation=designation,
            hint=hint,
        )
    )


def lookup(designation: str, rows: Iterable[BearingGeometry] | None = None) -> BearingGeometry:
    """The first row for a designation (see `variants` for the others).

    Raises:
        InputError: no row fits.
    """
    return variants(designation, rows)[0]
