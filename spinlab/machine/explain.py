"""pydantic's list of faults as one sentence: file, key, what is wrong and what is allowed."""

from __future__ import annotations

import dataclasses
import difflib
import types
import typing
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from spinlab.machine.value import Machine

if TYPE_CHECKING:
    from pydantic import ValidationError

_LONGEST_ECHO = 40

# What a person calls each kind of value, by pydantic's error type.
_WANTED = {
    "string_type": "text in quotes",
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "int_parsing_size": "a whole number of ordinary size",
    "finite_number": "a finite number",
    "tuple_type": "a list, as in [ ... ]",
    "dataclass_type": "a table of keys, as in { key = value }",
}
_BOUND = {
    "greater_than": ("gt", "above"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "below"),
    "less_than_equal": ("le", "at most"),
}


def explain(error: ValidationError, data: Mapping[str, Any], file: str) -> str:
    """One sentence about the first fault in `error`, and how many more there are.

    Args:
        error: what pydantic raised for `data`.
        data: the profile as read from TOML.
        file: what to call it in the message.
    """
    # A misspelt key is reported twice, as unknown and as missing: the first says more.
    faults = sorted(
        error.errors(include_url=False),
        key=lambda fault: fault["type"] != "unexpected_keyword_argument",
    )
    more = len(faults) - 1
    rest = f" ({more} more fault{'s' if more > 1 else ''} after this one)" if more else ""
    return f"{file}: {_sentence(faults[0], data)}{rest}."


def _sentence(fault: Any, data: Mapping[str, Any]) -> str:
    kind, path = fault["type"], tuple(fault["loc"])
    context = fault.get("ctx", {})
    key = _spell(path)
    if kind == "unexpected_keyword_argument":
        return _unknown_key(path)
    if kind == "json_invalid":  # what TOML allows and JSON does not: endless nesting
        return "nested too deeply for a machine profile"
    if kind in ("missing", "missing_keyword_only_argument"):
        return f"key {key} is missing; it is {_allowed(path)}"
    if kind == "value_error":
        where = f"{key}: " if path else ""
        return f"{where}{context['error']}"
    if kind == "literal_error":
        return f"key {key} is {_echo(fault['input'])}, but must be {_choices(path, fault)}"
    if kind in _BOUND:
        name, words = _BOUND[kind]
        return f"key {key} is {_echo(fault['input'])}, but must be {words} {context[name]:g}"
    if kind in ("too_long", "string_too_long"):
        return f"key {key} may hold at most {context['max_length']} entries or letters"
    if kind in ("too_short", "string_too_short"):
        return f"key {key} must not be empty"
    wanted = _WANTED.get(kind, fault["msg"][:1].lower() + fault["msg"][1:])
    return f"key {key} is {_echo(fault['input'])}, but must be {wanted}"


def _unknown_key(path: tuple[str | int, ...]) -> str:
    known = _fields(path[:-1])
    close = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.6)
    hint = f"did you mean {close[0]}? Allowed: " if close else "allowed: "
    return f"key {_spell(path)} is not known; {hint}{', '.join(known)}"


def _choices(path: tuple[str | int, ...], fault: Any) -> str:
    choices = typing.get_args(_hint(path)) or ()
    expected = str(fault["ctx"]["expected"]).replace("'", '"')
    close = difflib.get_close_matches(str(fault["input"]), [str(c) for c in choices], n=1)
    return expected + (f' (did you mean "{close[0]}"?)' if close else "")


def _spell(path: Iterable[str | int]) -> str:
    """("programme", 2, "rpm") as programme[3].rpm: entries are counted from one."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{_printable(part)}"
    return text.lstrip(".")


def _echo(value: Any) -> str:
    text = repr(value) if isinstance(value, str) else _printable(str(value))
    if isinstance(value, Mapping):
        text = "a table"
    elif isinstance(value, list):
        text = "a list"
    return text if len(text) <= _LONGEST_ECHO else text[:_LONGEST_ECHO] + "..."


def _printable(text: str) -> str:
    short = text if len(text) <= _LONGEST_ECHO else text[:_LONGEST_ECHO] + "..."
    return "".join(char if char.isprintable() else "?" for char in short)


def _allowed(path: tuple[str | int, ...]) -> str:
    hint = _hint(path)
    if typing.get_origin(hint) is typing.Literal:
        return "one of " + ", ".join(f'"{choice}"' for choice in typing.get_args(hint))
    if dataclasses.is_dataclass(hint):
        return "a table with the keys " + ", ".join(_fields(path))
    return {str: "text in quotes", float: "a number", int: "a whole number"}.get(hint, "required")


def _fields(path: tuple[str | int, ...]) -> list[str]:
    """Names of the keys allowed in the table at `path`."""
    hint = _hint(path)
    return [field.name for field in dataclasses.fields(hint)] if hint is not None else []


def _hint(path: tuple[str | int, ...]) -> Any:
    """The plain type that the value at `path` has, with None, bounds and lists peeled off."""
    hint: Any = Machine
    for part in path:
        if isinstance(part, int):
            continue
        if not dataclasses.is_dataclass(hint):
            return None
        hint = _peel(typing.get_type_hints(hint).get(part))
    return hint


def _peel(hint: Any) -> Any:
    origin = typing.get_origin(hint)
    if origin in (typing.Union, types.UnionType):
        return _peel(next(a for a in typing.get_args(hint) if a is not type(None)))
    if origin is tuple:
        return _peel(typing.get_args(hint)[0])
    return hint
