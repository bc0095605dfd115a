"""Indications: plateaus whose speed is known to about a percent, too poorly to be called measured.

A course of motor lines that moves as a drum does fixes the speeds against each other; a profile's
ratio, its programme and faint turns of the drum may then leave one scale that is likely, without
placing it within the few tenths of a percent that a measurement needs.
"""

from __future__ import annotations

import numpy as np

from spinlab.speed.candidates import ONE_SCALE, Candidate
from spinlab.speed.pieces import still_pieces
from spinlab.speed.refine import Refined
from spinlab.speed.runs import linked, longest_moving, moves, run_numbers
from spinlab.speed.track import IndicatedCourse, Indication

# Share of the likelihood within one scale, nats by which it stands out of all, and share of the
# course that lines carry.
LEAST_WEIGHT = 0.9
LEAST_STANDOUT = 12.0
LEAST_CARRIED = 0.5
# Beside what the readings of the scale differ by: creep, and lines between whose orders nothing
# chooses (on tuning recordings the errors of a scale had this size).
SCALE_SIGMA = 0.005


def indicated_course(refined: Refined, scales: tuple[Candidate, ...]) -> IndicatedCourse | None:
    """The longest moving run, on the likeliest scale; None where none is likely.

    Args:
        refined: the course and its lines.
        scales: the readings of its scale, best first.
    """
    logs = np.log([scale.factor for scale in scales])
    near = np.abs(logs - logs[0]) < ONE_SCALE
    weights = np.array([scale.weight for scale in scales])[near]
    likely = weights.sum() >= LEAST_WEIGHT and scales[0].standout >= LEAST_STANDOUT
    if not likely or float(refined.carried.mean()) < LEAST_CARRIED:
        return None
    run = linked(refined, run_numbers(refined.time_s, refined.log_hz))
    kept = refined.carried & longest_moving(refined, run, refined.carried)
    if not kept.any() or not moves(refined, run):
        return None
    middle = float(np.average(logs[near], weights=weights))
    spread = float(np.sqrt(np.average((logs[near] - middle) ** 2, weights=weights)))
    return IndicatedCourse(
        time_s=refined.time_s[kept],
        speed_rpm=60.0 * np.exp(refined.log_hz[kept] + middle),
        scale_sigma=float(np.sqrt(spread**2 + scales[0].sigma ** 2 + SCALE_SIGMA**2)),
        weight=min(1.0, float(weights.sum())),
    )


def indications(course: IndicatedCourse) -> tuple[Indication, ...]:
    """The plateaus of an indicated course."""
    log_rpm = np.log(course.speed_rpm)
    found = []
    for piece in still_pieces(log_rpm, run_numbers(course.time_s, log_rpm)):
        speed_rpm = float(np.median(course.speed_rpm[piece]))
        found.append(
            Indication(
                start_s=float(course.time_s[piece[0]]),
                end_s=float(course.time_s[piece[-1]]),
                speed_rpm=speed_rpm,
                standard_uncertainty_rpm=speed_rpm * course.scale_sigma,
            )
        )
    return tuple(found)
