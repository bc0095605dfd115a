"""Stages as frozen values: what was asked of the drum, and what it did."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Outcome = Literal["reached", "late", "off speed", "missed", "extra", "not measurable"]


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One plateau: what was expected and what the drum did (None where there is no number).

    Times are on the file's own clock; ripple is the departure of the speed from its mean over the
    settled stretch, as far as the track's frames follow it (faster than once or twice a second they
    do not).

    Attributes:
        expected_rpm: the speed asked for; None for a plateau that nothing asked for.
        outcome: what came of it.
        reason: one sentence or two: why it is so, or what to know about it.
        speed_rpm, standard_uncertainty_rpm: mean over the settled stretch.
        indicated_rpm, indicated_standard_uncertainty_rpm: speed of a plateau that is known too
            poorly to be called measured, for orientation.
        deviation_rpm, deviation_percent: the measured mean less the speed asked for.
        start_s, end_s: the settled stretch.
        allowed_s, reached_after_s: latest and real time to reach it, from the start of the spin.
        climb_s: from the end of the plateau held before to this one's tolerance; None where either
            was not seen.
        dwell_s: length of the settled stretch.
        ripple_percent: RMS of the ripple in percent of the mean, reading noise included.
        ripple_standard_uncertainty_percent: the RMS that reading noise alone would make.
        ripple_peak_to_peak_percent: from lowest to highest speed.
        ripple_rate_hz: the ripple's dominant rate; None where none stands out of the noise.
        overshoot_percent: highest speed on arrival above the mean; 0 where it is within ripple.
        rise_rpm_per_s: mean acceleration over the middle of the ramp that led here.
    """

    expected_rpm: float | None
    outcome: Outcome
    reason: str = ""
    speed_rpm: float | None = None
    standard_uncertainty_rpm: float | None = None
    indicated_rpm: float | None = None
    indicated_standard_uncertainty_rpm: float | None = None
    deviation_rpm: float | None = None
    deviation_percent: float | None = None
    start_s: float | None = None
    end_s: float | None = None
    allowed_s: float | None = None
    reached_after_s: float | None = None
    climb_s: float | None = None
    dwell_s: float | None = None
    ripple_percent: float | None = None
    ripple_standard_uncertainty_percent: float | None = None
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
    """Every plateau in time order, and what lies between them.

    Attributes:
        stages: the programme's plateaus in its order, extra ones between them.
        retries: ramps given up and tried again.
        top_speed_rpm, top_speed_standard_uncertainty_rpm: the fastest speed really reached.
        spin_start_s: when the drum began to turn for the spin; None where that was not measured.
        coast_down_start_s, coast_down_s: the last coast-down and how long it could be followed.
        coast_down_from_rpm, coast_down_to_rpm: the speeds between which it was followed.
        coast_down_rpm_per_s: mean change of speed over it, negative.
        total_s: from the start of the spin to standstill, or to where the coast-down was lost.
    """

    stages: tuple[Stage, ...] = ()
    retries: tuple[Retry, ...] = ()
    top_speed_rpm: float | None = None
    top_speed_standard_uncertainty_rpm: float | None = None
    spin_start_s: float | None = None
    coast_down_start_s: float | None = None
    coast_down_s: float | None = None
    coast_down_from_rpm: float | None = None
    coast_down_to_rpm: float | None = None
    coast_down_rpm_per_s: float | None = None
    total_s: float | None = None
