"""The commanded speed: steps joined by ramps whose acceleration starts and ends at zero."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.parameters import Step

COMMAND_RATE_HZ = 100.0
SHORTEST_RAMP_S = 0.2
PEAK_SLOPE = 1.875  # of the quintic below, relative to its mean slope


@dataclass(frozen=True, kw_only=True)
class Span:
    """When one step was commanded, and when its level was to be held (s from power-up)."""

    step: Step
    start_s: float
    hold_start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Command:
    """Commanded drum speed (rad/s) and whether the motor is powered, at `COMMAND_RATE_HZ`.

    `pulses` says whether the tachometer reports at all, None where it always does.
    """

    speed_rad_s: NDArray[np.float64]
    powered: NDArray[np.bool_]
    spans: tuple[Span, ...]
    pulses: NDArray[np.bool_] | None = None

    @property
    def duration_s(self) -> float:
        """Length of the whole programme."""
        return (len(self.speed_rad_s) - 1) / COMMAND_RATE_HZ


def s_curve(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Quintic from 0 to 1 with zero slope and curvature at both ends (minimum jerk)."""
    x = np.clip(share, 0.0, 1.0)
    curve: NDArray[np.float64] = x**3 * (10.0 - 15.0 * x + 6.0 * x * x)
    return curve


def command(steps: Iterable[Step]) -> Command:
    """Lay the steps end to end.  `rise_rpm_per_s` is the steepest slope of a step's ramp."""
    rpm: list[NDArray[np.float64]] = [np.zeros(1)]
    powered: list[NDArray[np.bool_]] = [np.ones(1, dtype=bool)]
    spans: list[Span] = []
    level, clock = 0.0, 0
    for step in steps:
        off = step.kind == "coast"
        ramp = 0.0 if off else PEAK_SLOPE * abs(step.rpm - level) / step.rise_rpm_per_s
        ramp = 0.0 if step.rpm == level else max(ramp, SHORTEST_RAMP_S)
        up = 0 if off else round(ramp * COMMAND_RATE_HZ)
        hold = 0 if step.kind == "abandon" else round(step.hold_s * COMMAND_RATE_HZ)
        curve = level + (step.rpm - level) * s_curve(np.arange(1, up + 1) / max(up, 1))
        level = 0.0 if off or step.kind == "abandon" else step.rpm
        rpm.append(np.concatenate([curve, np.full(hold, level)]))
        powered.append(np.full(up + hold, not off))
        marks = [clock, clock + up, clock + up + hold]
        start, held, end = (mark / COMMAND_RATE_HZ for mark in marks)
        spans.append(Span(step=step, start_s=start, hold_start_s=held, end_s=end))
        clock += up + hold
    return Command(
        speed_rad_s=np.concatenate(rpm) * (2.0 * np.pi / 60.0),
        powered=np.concatenate(powered),
        spans=tuple(spans),
    )
