"""Hold the plateaus that a track shows against what the drum really did.

A plateau is *called measured* if a speed is given for it.  Its error is taken against the true mean
speed between its own two times, so that other limits of a plateau are no error.  It is *gross* if
it is more than 2 % off, and a *wrong multiple* if its ratio to the truth lies within 2 % of a
simple fraction or of the motor's ratio.  A plateau that the drum really held is *refused* if no
measured one lies over it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from spinlab.machine import Machine
from spinlab.simulate import Truth
from spinlab.speed.track import SpeedTrack

CLOSE = 0.003  # the goal for a plateau's speed
GROSS = 0.02
SIMPLE_FRACTIONS = (1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4, 4 / 3, 3 / 2, 2.0, 3.0, 4.0)
COVERAGE_FACTOR = 2.0  # text and page state twice the standard uncertainty as "about 95 %"
LEAST_HELD_S = 1.5
LEAST_OVERLAP = 0.3
SPIN_RPM = 300.0
NO_RATIO = 99.0  # stands for "measured where the drum stood still"


@dataclass(frozen=True, kw_only=True)
class Plateau:
    """A plateau as measured: speed with standard uncertainty (both rpm), and when (s)."""

    speed_rpm: float
    sigma_rpm: float
    start_s: float
    end_s: float


def measured_plateaus(
    track: SpeedTrack, machine: Machine | None, *, log_rate_hz: float | None = None
) -> tuple[list[Plateau], list[float]]:
    """Every plateau with a speed, and the expected speeds that are said to be missed."""
    from spinlab import stages as room

    if not hasattr(room, "stage_table"):
        return _level_runs(track), []
    table = room.stage_table(track, machine, log_rate_hz=log_rate_hz)
    found = [
        Plateau(
            speed_rpm=stage.speed_rpm,
            sigma_rpm=stage.standard_uncertainty_rpm or 0.0,
            start_s=stage.start_s,
            end_s=stage.end_s,
        )
        for stage in table.stages
        if stage.outcome != "not measurable"
        and stage.speed_rpm is not None
        and stage.start_s is not None
        and stage.end_s is not None
    ]
    missed = [s.expected_rpm for s in table.stages if s.outcome == "missed" and s.expected_rpm]
    return found, missed


def indicated_plateaus(track: SpeedTrack, machine: Machine | None) -> list[Plateau]:
    """Every plateau whose speed is not measured but indicated."""
    from spinlab.stages import stage_table

    return [
        Plateau(
            speed_rpm=stage.indicated_rpm,
            sigma_rpm=stage.indicated_standard_uncertainty_rpm or 0.0,
            start_s=stage.start_s,
            end_s=stage.end_s,
        )
        for stage in stage_table(track, machine).stages
        if stage.indicated_rpm is not None and stage.start_s is not None and stage.end_s is not None
    ]


def _level_runs(track: SpeedTrack) -> list[Plateau]:
    """Runs of frames that the track itself calls a plateau, where there is no table of stages."""
    if track.scale == "relative" or len(track.time_s) < 3:
        return []
    time, half = track.time_s, 0.5 * float(np.median(np.diff(track.time_s)))
    held = np.concatenate([[False], track.motion == "plateau", [False]])
    edges = np.flatnonzero(np.diff(held.astype(np.int8))).reshape(-1, 2)
    found = []
    for first, last in edges:
        speed = track.speed_rpm[first:last]
        if np.isfinite(speed).sum() < 3 or np.nanmedian(speed) < SPIN_RPM:
            continue
        found.append(
            Plateau(
                speed_rpm=float(np.nanmean(speed)),
                sigma_rpm=float(np.nanmedian(track.standard_uncertainty_rpm[first:last])),
                start_s=float(time[first] - half),
                end_s=float(time[last - 1] + half),
            )
        )
    return found


def compare(plateau: Plateau, truth: Truth) -> dict[str, Any]:
    """One measured plateau against the truth, as plain values."""
    real, ratio = true_speed(plateau, truth)
    return {
        "speed_rpm": plateau.speed_rpm,
        "sigma_rpm": plateau.sigma_rpm,
        "true_rpm": real,
        "start_s": plateau.start_s,
        "end_s": plateau.end_s,
        "error": ratio - 1.0,
        "multiple": is_multiple(ratio, truth.motor_ratio),
        "covered": bool(abs(plateau.speed_rpm - real) <= COVERAGE_FACTOR * plateau.sigma_rpm),
    }


def true_speed(plateau: Plateau, truth: Truth) -> tuple[float, float]:
    """The speed (rpm) to hold a measured plateau against, and the measured one over it.

    It is the mean over the plateau's own time, unless the drum was elsewhere for more than half of
    it: a standing tone taken for a plateau must not be right because the mean happens to fit.  Then
    it is the speed of the middle one of all departures.
    """
    inside = (truth.time_s >= plateau.start_s) & (truth.time_s <= plateau.end_s)
    speed = truth.speed_rpm[inside]
    if not len(speed) or float(np.median(speed)) < 1.0:
        return 0.0, NO_RATIO
    off = np.abs(plateau.speed_rpm / np.maximum(speed, 1.0) - 1.0)
    if float(np.median(off)) > GROSS:
        real = float(speed[np.argsort(off)[len(off) // 2]])
    else:
        real = float(np.mean(speed))
    return real, plateau.speed_rpm / max(real, 1.0)


def is_multiple(ratio: float, motor_ratio: float) -> bool:
    """Whether a reading is off by a simple fraction or by the motor's ratio."""
    if abs(ratio - 1.0) <= GROSS:
        return False
    others = [*SIMPLE_FRACTIONS]
    if motor_ratio > 1.5:
        others += [motor_ratio, 1.0 / motor_ratio]
    return any(abs(ratio / other - 1.0) <= GROSS for other in others)


def held_plateaus(truth: Truth, *, fastest_rpm: float = np.inf) -> list[tuple[float, float, float]]:
    """Plateaus that the drum really held long enough, no faster than a limit: speed, start, end."""
    return [
        (stage.speed_rpm, stage.start_s, stage.end_s)
        for stage in truth.stages
        if stage.speed_rpm is not None
        and stage.start_s is not None
        and stage.end_s is not None
        and stage.end_s - stage.start_s >= LEAST_HELD_S
        and stage.speed_rpm <= fastest_rpm
    ]


def score(
    plateaus: Sequence[Plateau], truth: Truth, *, fastest_rpm: float = np.inf
) -> dict[str, Any]:
    """Measured plateaus against the truth, and how many held ones nothing was said about.

    Held plateaus faster than `fastest_rpm` cannot be measured and are not counted as refused.
    """
    held = held_plateaus(truth, fastest_rpm=fastest_rpm)
    readings = [_over(plateaus, start, end) for _, start, end in held]
    return {
        "plateaus": [compare(plateau, truth) for plateau in plateaus],
        "held": len(held),
        "refused": readings.count(None),
        "readings": readings,
        "held_rpm": [speed for speed, _, _ in held],
    }


def _over(plateaus: Sequence[Plateau], start_s: float, end_s: float) -> float | None:
    """The speed of the measured plateau that lies over a held one, None where there is none."""
    shared = [(min(p.end_s, end_s) - max(p.start_s, start_s), p.speed_rpm) for p in plateaus]
    most, speed = max(shared, default=(0.0, 0.0))
    return speed if most >= LEAST_OVERLAP * (end_s - start_s) else None


def frames(track: SpeedTrack, truth: Truth) -> dict[str, float]:
    """Shares of the frames in which the drum truly spins faster than 300 rpm."""
    real = np.interp(track.time_s, truth.time_s, truth.speed_rpm, left=0.0, right=0.0)
    spin = real > SPIN_RPM
    known = spin & np.isfinite(track.speed_rpm)
    off = np.abs(track.speed_rpm[known] / real[known] - 1.0)
    return {
        "spin": int(spin.sum()),
        "known": int(known.sum()),
        "within_1_percent": int((off <= 0.01).sum()),
        "beyond_5_percent": int((off > 0.05).sum()),
    }
