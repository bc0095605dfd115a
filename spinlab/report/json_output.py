"""The result as the text of a JSON file, and the schema that it keeps."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

from spinlab.result import Analysed, result


def json_text(analysis: Analysed) -> str:
    """The analysis as JSON, version 1; arrays of numbers stay on one line each.

    Raises:
        ValueError: a value is not finite, which would be a defect of ours.
    """
    return _object(result(analysis), depth=0) + "\n"


def schema() -> dict[str, Any]:
    """The published JSON Schema (draft 2020-12) of version 1."""
    text = (resources.files("spinlab.report") / "schema" / "result-1.json").read_text("utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def _object(value: Any, *, depth: int) -> str:
    if isinstance(value, dict) and value:
        entries = [
            f"{json.dumps(key, ensure_ascii=False)}: {_object(entry, depth=depth + 1)}"
            for key, entry in value.items()
        ]
        return _block("{", entries, "}", depth)
    if isinstance(value, list) and any(isinstance(entry, dict) for entry in value):
        return _block("[", [_object(entry, depth=depth + 1) for entry in value], "]", depth)
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _block(opening: str, entries: list[str], closing: str, depth: int) -> str:
    indent = "  " * (depth + 1)
    return f"{opening}\n{indent}" + f",\n{indent}".join(entries) + f"\n{'  ' * depth}{closing}"
