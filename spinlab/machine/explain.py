"""pydantic's list of faults as one sentence: file, key, what is wrong and what is allowed."""

from __future__ import annotations

import dataclasses
import difflib
import types
import typing
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from spinlab.machine.value import Machine
from spinlab.phrase import Phrase, many, say

if TYPE_CHECKING:
    from pydantic import ValidationError

_LONGEST_ECHO = 40

# What a person calls each kind of value, by pydantic's error type.
_WANTED = {
    "string_type": say("text in quotes"),
    "float_type": say("a number"),
    "int_type": say("a whole number"),
    "int_from_float": say("a whole number"),
    "int_parsing_size": say("a whole number of ordinary size"),
    "finite_number": say("a finite number"),
    "tuple_type": say("a list, as in [ ... ]"),
    "dataclass_type": say("a table of keys, as in {{ key = value }}"),
}
_BOUND = {
    "greater_than": ("gt", say("above")),
    "greater_than_equal": ("ge", say("at least")),
    "less_than": ("lt", say("below")),
    "less_than_equal": ("le", say("at most")),
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
    first, more = _sentence(faults[0], data), len(faults) - 1
    if not more:
        return Phrase("{file}: {fault}.", {"file": file, "fault": first})
    return many(
        "{file}: {fault} (one more fault after this one).",
        "{file}: {fault} ({count} more faults after this one).",
        count=more,
        file=file,
        fault=first,
    )


def _sentence(fault: Any, data: Mapping[str, Any]) -> str:
    kind, path = fault["type"], tuple(fault["loc"])
    context = fault.get("ctx", {})
    key = _spell(path)
    if kind == "unexpected_keyword_argument":
        return _unknown_key(path)
    if kind == "json_invalid":  # what TOML allows and JSON does not: endless nesting
        return say("nested too deeply for a machine profile")
    if kind in ("missing", "missing_keyword_only_argument"):
        return say("key {key} is missing; it is {allowed}", key=key, allowed=_allowed(path))
    if kind == "value_error":
        why = context["error"].args[0]
        return Phrase("{key}: {why}", {"key": key, "why": why}) if path else str(why)
    if kind in ("too_long", "string_too_long"):
        return say(
            "key {key} may hold at most {most} entries or letters",
            key=key,
            most=context["max_length"],
        )
    if kind in ("too_short", "string_too_short"):
        return say("key {key} must not be empty", key=key)
    return say(
        "key {key} is {given}, but must be {wanted}",
        key=key,
        given=_echo(fault["input"]),
        wanted=_wanted(fault, path),
    )


def _wanted(fault: Any, path: tuple[str | int, ...]) -> str:
    """What a value must be."""
    kind = fault["type"]
    if kind == "literal_error":
        return _choices(path, fault)
    if kind in _BOUND:
        name, words = _BOUND[kind]
        return Phrase("{words} {bound:g}", {"words": words, "bound": fault["ctx"][name]})
    return _WANTED.get(kind, fault["msg"][:1].lower() + fault["msg"][1:])


def _unknown_key(path: tuple[str | int, ...]) -> str:
    known = _fields(path[:-1])
    close = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.6)
    names = {"key": _spell(path), "known": ", ".join(known)}
    if not close:
        return say("key {key} is not known; allowed: {known}", **names)
    return say(
        "key {key} is not known; did you mean {close}? Allowed: {known}", close=close[0], **names
    )


def _choices(path: tuple[str | int, ...], fault: Any) -> str:
    choices = typing.get_args(_hint(path)) or ()
    expected = str(fault["ctx"]["expected"]).replace("'", '"')
    close = difflib.get_close_matches(str(fault["input"]), [str(c) for c in choices], n=1)
    if not close:
        return expected
    return say('{expected} (did you mean "{close}"?)', expected=expected, close=close[0])


def _spell(path: Iterable[str | int]) -> str:
    """("programme", 2, "rpm") as programme[3].rpm: entries are counted from one."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{_printable(part)}"
    return text.lstrip(".")


def _echo(value: Any) -> str:
    if isinstance(value, Mapping):
        return say("a table")
    if isinstance(value, list):
        return say("a list")
    text = repr(value) if isinstance(value, str) else _printable(str(value))
    return text if len(text) <= _LONGEST_ECHO else text[:_LONGEST_ECHO] + "..."


def _printable(text: str) -> str:
    short = text if len(text) <= _LONGEST_ECHO else text[:_LONGEST_ECHO] + "..."
    return "".join(char if char.isprintable() else "?" for char in short)


def _allowed(path: tuple[str | int, ...]) -> str:
    hint = _hint(path)
    if typing.get_origin(hint) is typing.Literal:
        choices = ", ".join(f'"{choice}"' for choice in typing.get_args(hint))
        return say("one of {choices}", choices=choices)
    if dataclasses.is_dataclass(hint):
        return say("a table with the keys {keys}", keys=", ".join(_fields(path)))
    kinds = {str: "string_type", float: "float_type", int: "int_type"}
    return _WANTED[kinds[hint]] if hint in kinds else say("required")


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
