"""A comparison as the text of a JSON file, and the schema that it keeps."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

from spinlab.comparison.result import comparison_result
from spinlab.comparison.value import Comparison


def comparison_json(comparison: Comparison) -> str:
    """The comparison as JSON, format "spinlab.comparison", version 1.

    Raises:
        ValueError: a value is not finite, which would be a defect of ours.
    """
    result = comparison_result(comparison)
    return json.dumps(result, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def comparison_schema() -> dict[str, Any]:
    """The published JSON Schema (draft 2020-12) of version 1."""
    home = resources.files("spinlab.report") / "schema" / "comparison-1.json"
    loaded: dict[str, Any] = json.loads(home.read_text("utf-8"))
    return loaded
