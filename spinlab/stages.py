"""Stages: the speed track held against the expected programme.

Values here; the comparison itself is `stage_table`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Outcome = Literal["reached", "late", "off speed", "missed", "extra", "not measurable"]


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One plateau: what was expected and what the drum did (None where there is no number).

    Times are on the file's own clock.  Ripple is the speed's departure from the plateau's mean;
    `ripple_percent` is its RMS in percent of the mean.
    """

    expected_rpm: float | None
    outcome: Outcome
    reason: str = ""
    speed_rpm: float | None = None
    standard_uncertainty_rpm: float | None = None
    deviation_rpm: float | None = None
    deviation_percent: float | None = None
    start_s: float | None = None
    end_s: float | None = None
    allowed_s: float | None = None
    reached_after_s: float | None = None
    dwell_s: float | None = None
    ripple_percent: float | None = None
    ripple_peak_to_peak_percent: float | None = None
    ripple_rate_hz: float | None = None
    overshoot_percent: float | None = None
    rise_rpm_per_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Retry:
    """A ramp given up: the speed it got to, and when."""

    time_s: float
    speed_rpm: float


@dataclass(frozen=True, kw_only=True)
class StageTable:
    """Every plateau in time order, and what lies between them."""

    stages: tuple[Stage, ...] = ()
    retries: tuple[Retry, ...] = ()
    top_speed_rpm: float | None = None
    top_speed_standard_uncertainty_rpm: float | None = None
    coast_down_start_s: float | None = None
    coast_down_s: float | None = None
    coast_down_rpm_per_s: float | None = None
    total_s: float | None = None
