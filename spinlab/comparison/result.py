"""A comparison as plain JSON values: format "spinlab.comparison", version 1.

What each field means is written in the published schema,
`spinlab/report/schema/comparison-1.json`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from spinlab.comparison.statistics import ERROR_RATE
from spinlab.comparison.value import Comparison, Curves, Pair, StageRow
from spinlab.result import plain

FORMAT = "spinlab.comparison"
VERSION = 1
_ORDER_DECIMALS, _LEVEL_DECIMALS = 3, 2


def comparison_result(comparison: Comparison) -> dict[str, Any]:
    """The comparison as a dictionary that `json.dumps(..., allow_nan=False)` accepts."""
    from spinlab import __version__

    return {
        "format": FORMAT,
        "version": VERSION,
        "software": {"name": "spinlab", "version": __version__},
        "machine": comparison.machine or None,
        "recordings": plain(comparison.subjects),
        "speeds": plain(comparison.speeds),
        "stages": [_row(row) for row in comparison.stages],
        "error_rate": ERROR_RATE,
        "same_place": comparison.same_place,
        "pairs": [_pair(pair) for pair in comparison.pairs],
        "state": comparison.state,
        "sentence": comparison.sentence,
    }


def _row(row: StageRow) -> dict[str, Any]:
    return {
        "expected_rpm": plain(row.expected_rpm),
        "speed_rpm": plain(row.speed_rpm),
        "stages": plain(row.stages),
    }


def _pair(pair: Pair) -> dict[str, Any]:
    return {
        "first": pair.first,
        "second": pair.second,
        "state": pair.state,
        "sentence": pair.sentence,
        "statements": plain(pair.statements),
        "speeds": plain(pair.speeds),
        "amplitudes": plain(pair.amplitudes),
        "lines": plain(pair.lines),
        "tests": pair.tests,
        "limits": plain(pair.limits),
        "spectra": [_curves(curves) for curves in pair.curves],
    }


def _curves(curves: Curves) -> dict[str, Any]:
    return {
        "measure": curves.measure,
        "band": plain(curves.band),
        "order": np.round(curves.order, _ORDER_DECIMALS).tolist(),
        "first_db": _levels(curves.first_db),
        "second_db": _levels(curves.second_db),
    }


def _levels(values: np.ndarray) -> list[float | None]:
    rounded = np.round(values, _LEVEL_DECIMALS)
    return [float(v) + 0.0 if np.isfinite(v) else None for v in rounded]
