"""Indications: roughly known plateaus of a course whose scale is likely but not placed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from spinlab.speed import track_speed
from spinlab.speed.candidates import Candidate
from spinlab.speed.indicate import SCALE_SIGMA, indicated_course, indications
from spinlab.speed.refine import Refined
from tests.speed.test_tracker import rotor

MOTOR = 11.3


def course_of(*levels_rpm: float) -> Refined:
    """A motor line over straight ramps between levels that are held for 6 s, all of it heard."""
    knots = np.repeat(np.log(np.array(levels_rpm) / 60.0 * MOTOR), 2)
    time_s = 0.3 * np.arange(40 * len(levels_rpm))
    at = np.cumsum([0.0, *([6.0, 6.0] * len(levels_rpm))[: len(knots) - 1]])
    log_hz = np.interp(time_s, at, knots)
    kept = time_s <= at[-1]
    count = int(kept.sum())
    return Refined(
        time_s=time_s[kept],
        log_hz=log_hz[kept],
        sigma=np.full(count, 1e-3),
        gain=np.full(count, 20.0),
        heard=np.full(count, 3),
        orders=np.array([1.0]),
        order_sigma=np.array([2e-4]),
        strength=np.array([5.0]),
    )


def readings(*shares: tuple[float, float], standout: float = 20.0) -> tuple[Candidate, ...]:
    """Readings of the scale: (times the true one, weight)."""
    return tuple(
        Candidate(factor=share / MOTOR, weight=weight, standout=standout, sigma=0.002)
        for share, weight in shares
    )


def test_plateaus_are_indicated_on_the_mean_of_the_likely_readings():
    course = course_of(400, 800, 1200)
    likely = indicated_course(course, readings((1.0, 0.7), (1.02, 0.3)))
    found = indications(likely)
    middle = np.exp(0.3 * np.log(1.02))
    assert [one.speed_rpm for one in found] == pytest.approx(
        [400 * middle, 800 * middle, 1200 * middle], rel=1e-3
    )
    # two readings 2 % apart with weights p and 1 - p scatter by 2 % sqrt(p (1 - p))
    spread = np.log(1.02) * np.sqrt(0.3 * 0.7)
    sigma = np.sqrt(spread**2 + 0.002**2 + SCALE_SIGMA**2)
    assert found[0].standard_uncertainty_rpm / found[0].speed_rpm == pytest.approx(sigma, rel=1e-3)


@pytest.mark.parametrize(
    "scales",
    [
        readings((1.0, 0.6), (0.5, 0.4)),
        readings((1.0, 0.6), (1.1, 0.4)),
        readings((1.0, 1.0), standout=5.0),
    ],
)
def test_nothing_is_indicated_while_the_scale_is_open(scales):
    assert indicated_course(course_of(400, 800, 1200), scales) is None


def test_what_never_moves_indicates_nothing():
    assert indicated_course(course_of(800, 800, 800), readings((1.0, 1.0))) is None


def test_what_lines_hardly_carry_indicates_nothing():
    course = course_of(400, 800, 1200)
    silent = np.arange(len(course.gain)) % 3 > 0
    assert (
        indicated_course(replace(course, gain=np.where(silent, 0.0, 20.0)), readings((1, 1.0)))
        is None
    )


def test_what_a_measured_track_indicates_agrees_with_what_it_measures():
    recording, _ = rotor(1)
    track = track_speed(recording)
    assert not track.reason
    levels = {400.0: 0, 800.0: 0, 1200.0: 0}
    for one in track.indications:
        nearest = min(levels, key=lambda rpm: abs(rpm - one.speed_rpm))
        assert abs(one.speed_rpm - nearest) < 2.0 * one.standard_uncertainty_rpm
        levels[nearest] += 1
    assert sum(count > 0 for count in levels.values()) >= 2
