"""Scenarios: parameters written down as TOML, shipped by name or given as a path.

A file states only what differs from the defaults.  Tables carry the names of the fields of
`Parameters`; `programme`, `bearings` and `voice.bands` are lists of tables.
"""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import fields, is_dataclass
from importlib import resources
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, get_args, get_origin, get_type_hints

from spinlab.errors import InputError
from spinlab.simulate.parameters import Parameters

FOLDER = "scenarios"
LARGEST_FILE = 1_000_000


def scenario_names() -> tuple[str, ...]:
    """Names of the shipped scenarios, in alphabetical order."""
    folder = resources.files("spinlab.simulate") / FOLDER
    names = [entry.name for entry in folder.iterdir()]
    return tuple(sorted(name[:-5] for name in names if name.endswith(".toml")))


def load_scenario(name_or_path: str | Path) -> Parameters:
    """Parameters of a shipped scenario, or of a TOML file.

    Raises:
        InputError: no such scenario, no readable file, or a key that makes no sense.
    """
    name = str(name_or_path)
    if name in scenario_names():
        text = (resources.files("spinlab.simulate") / FOLDER / f"{name}.toml").read_text("utf-8")
        return parse_scenario(text, where=f"scenario {name}", name=name)
    path = Path(name_or_path)
    if path.suffix.lower() != ".toml":
        near = difflib.get_close_matches(name, scenario_names(), 1)
        guess = f"did you mean {near[0]}?" if near else "list them with --list."
        raise InputError(f"There is no scenario called {name!r} and no such TOML file: {guess}")
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError(f"{path.name} is too large for a scenario (1 MB at most).")
        text = path.read_text("utf-8")
    except OSError as problem:
        raise InputError(f"{path.name} cannot be read: {problem.strerror}.") from problem
    except UnicodeDecodeError as problem:
        raise InputError(f"{path.name} is not UTF-8 text, so it is no TOML file.") from problem
    return parse_scenario(text, where=path.name, name=path.stem)


def parse_scenario(text: str, *, where: str, name: str) -> Parameters:
    """Parameters from TOML text; `where` names it in messages."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise InputError(f"{where} is no valid TOML: {problem}.") from problem
    table.setdefault("name", name)
    result = _build(Parameters, table, where, "")
    assert isinstance(result, Parameters)
    return result


def _build(kind: Any, table: Any, where: str, path: str) -> Any:
    """A dataclass from a table, each key checked by name and type."""
    if not isinstance(table, dict):
        raise InputError(f"{where}: {path} must be a table of its own.")
    hints = get_type_hints(kind)
    known = {part.name for part in fields(kind)}
    values: dict[str, Any] = {}
    for key, value in table.items():
        place = f"{path}.{key}".lstrip(".")
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            guess = f"did you mean {near[0]}?" if near else f"use {', '.join(sorted(known))}."
            raise InputError(f"{where}: {place} is no known key; {guess}")
        values[key] = _value(hints[key], value, where, place)
    try:
        return kind(**values)
    except TypeError as problem:
        missing = str(problem).rsplit(":", 1)[-1].strip()
        raise InputError(f"{where}: {path} lacks {missing}.") from problem


def _value(hint: Any, value: Any, where: str, place: str) -> Any:
    """`value` as the type `hint` asks for."""
    if is_dataclass(hint):
        return _build(hint, value, where, place)
    origin, parts = get_origin(hint), get_args(hint)
    if origin is Literal:
        if value not in parts:
            raise InputError(f"{where}: {place} is {value!r}; use {', '.join(map(str, parts))}.")
        return value
    if origin is UnionType:
        return _value(next(part for part in parts if part is not NoneType), value, where, place)
    if origin is tuple:
        if not isinstance(value, list):
            raise InputError(f"{where}: {place} must be a list in square brackets.")
        if parts[-1] is not Ellipsis and len(value) != len(parts):
            raise InputError(f"{where}: {place} must hold {len(parts)} numbers.")
        inner = [_value(parts[0], item, where, f"{place}[{n}]") for n, item in enumerate(value)]
        return tuple(inner)
    return _plain(hint, value, where, place)


def _plain(hint: Any, value: Any, where: str, place: str) -> Any:
    words = {float: "a number", int: "a whole number", str: "text"}
    right = isinstance(value, (int, float) if hint is float else hint)
    if not right or isinstance(value, bool):
        raise InputError(f"{where}: {place} is {value!r}; it must be {words[hint]}.")
    return float(value) if hint is float else value
