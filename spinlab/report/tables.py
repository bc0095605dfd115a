"""Tables as CSV (RFC 4180): units in the heads, an empty cell where there is no number."""

from __future__ import annotations

import csv
import dataclasses
import io
from collections.abc import Iterable, Sequence
from typing import Any

from spinlab.result import Analysed, plain, result
from spinlab.stages import Stage

_TRACK_COLUMNS = (
    "time_s",
    "speed_rpm",
    "standard_uncertainty_rpm",
    "confidence",
    "motion",
    "carried_by",
)
_FINDING_COLUMNS = ("kind", "subject", "state", "probability", "reason", "next_step")
# A spreadsheet takes a cell that begins so for a formula.
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


def track_csv(analysis: Analysed) -> str:
    """The drum's speed, one row for each frame of the track."""
    track = result(analysis)["track"]
    return _csv(_TRACK_COLUMNS, zip(*(track[name] for name in _TRACK_COLUMNS), strict=True))


def stages_csv(analysis: Analysed) -> str:
    """The table of stages, one row for each."""
    columns = [field.name for field in dataclasses.fields(Stage)]
    rows = [plain(stage) for stage in analysis.stages.stages]
    return _csv(columns, ([row[name] for name in columns] for row in rows))


def findings_csv(analysis: Analysed) -> str:
    """The findings, one row for each; their evidence stands in the JSON result."""
    rows = [plain(finding) for finding in analysis.findings]
    return _csv(_FINDING_COLUMNS, ([row[name] for name in _FINDING_COLUMNS] for row in rows))


def _csv(heads: Sequence[str], rows: Iterable[Iterable[Any]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(heads)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return text.getvalue()


def _cell(value: Any) -> Any:
    if isinstance(value, str) and value.startswith(_FORMULA_SIGNS):
        return f"'{value}"
    return "" if value is None else value
