"""Stage tables side by side, and the changes of the speeds held."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from spinlab.analysis import Analysis
from spinlab.comparison.align import SAME_SPEED
from spinlab.comparison.value import SpeedChange, StageRow
from spinlab.speed.track import Estimate
from spinlab.stages import Stage

# Standard deviation of a held speed from run to run of one machine, as a share of it: controllers
# hold to about 1 % (common practice, no published source).
TAKE_SHARE = 0.005


def stage_rows(analyses: Sequence[Analysis]) -> tuple[StageRow, ...]:
    """One row per speed asked for, and one per extra speed held, slowest first."""
    expected = sorted(
        {
            stage.expected_rpm
            for analysis in analyses
            for stage in analysis.stages.stages
            if stage.expected_rpm is not None
        }
    )
    rows = [
        StageRow(
            speed_rpm=rpm,
            expected_rpm=rpm,
            stages=tuple(_asked(analysis, rpm) for analysis in analyses),
        )
        for rpm in expected
    ]
    return tuple(sorted([*rows, *_unasked(analyses)], key=lambda row: row.speed_rpm))


def _asked(analysis: Analysis, rpm: float) -> Stage | None:
    return next((s for s in analysis.stages.stages if s.expected_rpm == rpm), None)


def _unasked(analyses: Sequence[Analysis]) -> list[StageRow]:
    """Plateaus that nothing asked for, those of nearly one speed in one row."""
    extra = [
        (stage.speed_rpm, number, stage)
        for number, analysis in enumerate(analyses)
        for stage in analysis.stages.stages
        if stage.expected_rpm is None and stage.speed_rpm is not None
    ]
    rows: list[tuple[float, list[Stage | None]]] = []
    for speed, number, stage in sorted(extra, key=lambda entry: entry[0]):
        last = rows[-1] if rows else None
        if last is None or speed > last[0] * (1.0 + SAME_SPEED) or last[1][number] is not None:
            rows.append((speed, [None] * len(analyses)))
        rows[-1][1][number] = stage
    return [StageRow(speed_rpm=s, expected_rpm=None, stages=tuple(own)) for s, own in rows]


def speed_changes(rows: Sequence[StageRow], first: int, second: int) -> list[SpeedChange]:
    """Speeds that both recordings held and measured; nothing is claimed yet."""
    found = []
    for row in rows:
        a, b = _held(row.stages[first]), _held(row.stages[second])
        if a is None or b is None:
            continue
        change = b.value - a.value
        spread = float(np.hypot(a.standard_uncertainty, b.standard_uncertainty))
        takes = float(np.hypot(spread, TAKE_SHARE * np.hypot(a.value, b.value)))
        found.append(
            SpeedChange(
                expected_rpm=row.expected_rpm,
                first_rpm=a,
                second_rpm=b,
                change_rpm=change,
                standard_uncertainty_rpm=spread,
                probability=float(2.0 * stats.norm.sf(abs(change) / max(takes, 1e-9))),
                adjusted=1.0,
                claimed=False,
            )
        )
    return found


def _held(stage: Stage | None) -> Estimate | None:
    if stage is None or stage.speed_rpm is None or stage.standard_uncertainty_rpm is None:
        return None
    return Estimate(value=stage.speed_rpm, standard_uncertainty=stage.standard_uncertainty_rpm)
