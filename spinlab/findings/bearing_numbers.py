"""The evidence behind a bearing finding as named numbers, ready for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from spinlab.bearings import Hypothesis
from spinlab.bearings.evidence import Family, LineEvidence, SpeedTest, StageEvidence

# A sideband that chance makes more often than this is not worth a line of the report.
WORTH_SAYING_LOG10 = -2.0


def hypothesis_numbers(
    h: Hypothesis, stages: Sequence[StageEvidence], speed: SpeedTest, *, tests: int
) -> dict[str, Any]:
    """One hypothesis with its lines, stage by stage evidence and test against speed."""
    said = [line for line in h.sidebands if line.log10_p < WORTH_SAYING_LOG10]
    return {
        "designation": h.bearing.geometry.designation,
        "geometry_exact": h.bearing.geometry.exact,
        "geometry_source": h.bearing.geometry.source,
        "shaft_order": h.bearing.shaft_order.value,
        "order": h.order,
        "expected_order": h.expected_order,
        "offset_percent": 100.0 * (h.order / h.expected_order - 1.0),
        "searched_orders": list(h.range),
        "log10_chance": h.log10_p,
        "hypotheses_searched": tests,
        "band_hz": [h.band.low_hz, h.band.high_hz],
        "modulation_depth": h.depth,
        "family_depth": h.family_depth,
        "share_of_lines": h.share,
        "harmonics": [line_numbers(line) for line in h.harmonics],
        "sidebands": [line_numbers(line) for line in said],
        "sidebands_log10_chance": h.sidebands_log10_p,
        "moves_with_speed": speed.follows,
        "moves_with_speed_log10_odds": speed.log10_odds,
        "stages": [
            {
                "start_s": stage.start_s,
                "end_s": stage.end_s,
                "motion": stage.motion,
                "speed_rpm": stage.speed_rpm,
                "turns": stage.turns,
                "snr_db": stage.snr_db,
                "log10_chance": stage.log10_p,
            }
            for stage in stages
        ],
    }


def line_numbers(line: LineEvidence) -> dict[str, Any]:
    """One line of a family."""
    return {
        "label": line.label,
        "order": line.order,
        "snr_db": line.snr_db,
        "log10_chance": line.log10_p,
        "modulation_depth": line.depth,
    }


def family_numbers(family: Family) -> dict[str, Any]:
    """A family that fits no listed bearing, with the catalogue rows that would explain it."""
    return {
        "order": family.order,
        "log10_chance": family.log10_p,
        "share_of_lines": family.share,
        "family_depth": family.family_depth,
        "harmonics": [line_numbers(line) for line in family.harmonics],
        "catalogue_rows": [
            {
                "designation": row.geometry.designation,
                "damage": row.fault,
                "expected_order": row.expected_order,
                "offset_percent": 100.0 * row.misfit,
                "geometry_exact": row.geometry.exact,
            }
            for row in family.rows
        ],
    }
