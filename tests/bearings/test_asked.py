"""Blows that keep to the speeds asked for give a course; what keeps to none accuses no bearing.

Signals are made by hand: a track, blows at an order of it, noise that swells once per turn.
"""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.analysis.measure import on_course, unknown_track
from spinlab.bearings import detect
from spinlab.bearings.asked import LONGEST_S, course_at_asked_speeds
from spinlab.findings.bearing import bearing_findings
from spinlab.findings.indicated import on_indicated
from tests.bearings.signals import (
    GEOMETRY,
    REAR,
    STAGES,
    clicks_at_hz,
    impacts,
    noise,
    recording,
    times_of,
    track,
)

ASKED = (400.0, 800.0, 1300.0)
BPFO = GEOMETRY.outer_race_order
# What bearings slip as a rule (MFPT rig, see `bearings.geometry`).
SLIPPED = 0.992


def beating(speed, *, depth=0.4, seed=0):
    """Noise that swells once per turn of the drum."""
    turns = speed.turns_at(times_of(speed))
    return noise(speed, seed) * (1.0 + depth * np.cos(2.0 * np.pi * turns))


def found(values, asked=ASKED):
    return course_at_asked_speeds(recording(values), (REAR,), asked)


def off(course, speed):
    """Median of ln(the course's speed / the true one)."""
    true = np.interp(course.time_s, speed.time_s, speed.speed_rpm)
    return float(np.median(np.log(course.speed_rpm / true)))


def said(values):
    """The findings about bearings along the course that the blows tell, if any."""
    course = found(values)
    if course is None:
        return ()
    one = recording(values)
    track = on_course(unknown_track(one, "unknown"), course)
    evidence = detect(one, track, (REAR,), courses=course.courses, listed_only=True)
    assert not evidence.unknown
    assert evidence.roar is None
    return on_indicated(bearing_findings(evidence, kind="sound"), course)


@pytest.mark.parametrize("fault", ["outer race", "inner race", "ball"])
def test_blows_of_a_damage_give_the_drums_speed(fault):
    speed = track(STAGES)
    course = found(beating(speed) + impacts(speed, GEOMETRY.order(fault) * SLIPPED))
    # slip would put it 0.8 % below
    assert abs(off(course, speed)) < 0.004
    assert abs(off(course, speed)) < 2.0 * course.scale_sigma
    assert course.weight > 0.95
    assert set(np.round(course.asked_rpm)) <= set(ASKED)


@pytest.mark.parametrize("fault", ["outer race", "inner race", "ball"])
def test_the_damage_is_named_and_what_it_rests_on(fault):
    speed = track(STAGES)
    findings = said(beating(speed) + impacts(speed, GEOMETRY.order(fault) * SLIPPED))
    assert [one.state for one in findings] == ["fault"]
    assert findings[0].subject == f"rear drum bearing, {fault}"
    assert "was not measured" in findings[0].reason
    assert "speeds asked for" in findings[0].reason
    assert "would measure the speed" in findings[0].next_step


def test_ramps_between_the_plateaus_are_followed_too():
    speed = track(STAGES)
    course = found(beating(speed) + impacts(speed, BPFO * SLIPPED, strength=8.0))
    ramp = (course.time_s > 9.0) & (course.time_s < 11.0)
    true = np.interp(course.time_s[ramp], speed.time_s, speed.speed_rpm)
    assert ramp.sum() >= 5
    assert course.speed_rpm[ramp] == pytest.approx(true, rel=0.02)


def test_a_drum_that_is_slow_is_told_from_balls_that_slip():
    # blows of either are 1.2 % late against the speeds asked for
    slow = track(tuple((at_s, 0.988 * rpm) for at_s, rpm in STAGES))
    assert abs(off(found(beating(slow) + impacts(slow, BPFO)), slow)) < 0.005
    punctual = track(STAGES)
    course = found(beating(punctual) + impacts(punctual, 0.988 * BPFO))
    assert abs(off(course, punctual)) < 0.005


def test_without_the_drums_own_turns_the_speed_is_less_sure():
    speed = track(STAGES)
    blows = impacts(speed, BPFO * SLIPPED)
    sure, unsure = found(beating(speed) + blows), found(noise(speed) + blows)
    assert sure.weight > 0.999
    assert unsure.weight < 0.99


@pytest.mark.parametrize("seed", range(4))
def test_noise_and_a_beating_drum_give_nothing(seed):
    assert found(beating(track(STAGES), seed=seed)) is None


@pytest.mark.parametrize("strength", [4.0, 12.0])
@pytest.mark.parametrize("order", [1.0, 2.0, 2.7, 3.0, 3.1, 3.74, 4.0, 6.0, 6.1, 7.3])
def test_blows_at_no_bearings_order_accuse_no_bearing(order, strength):
    # knocks of the drum, and combs of which some harmonic meets a race at some plateau
    speed = track(STAGES)
    values = beating(speed) + impacts(speed, order, strength=strength)
    assert {one.state for one in said(values)} <= {"not measurable"}


@pytest.mark.parametrize("rpm", ASKED)
def test_blows_that_never_change_their_rate_give_nothing(rpm):
    # a rate that a damage would have at one of the plateaus
    speed = track(STAGES)
    assert found(beating(speed) + clicks_at_hz(speed, BPFO * rpm / 60.0)) is None


def test_a_drum_at_other_speeds_than_those_asked_for_is_not_followed():
    speed = track(STAGES)
    values = beating(speed) + impacts(speed, BPFO * SLIPPED)
    assert found(values, asked=(500.0, 900.0, 1400.0)) is None


def test_one_speed_asked_for_no_bearing_or_a_long_recording_give_nothing():
    speed = track(STAGES)
    values = beating(speed) + impacts(speed, BPFO * SLIPPED)
    assert found(values, asked=(800.0,)) is None
    assert course_at_asked_speeds(recording(values), (), ASKED) is None
    one = recording(values)
    samples = np.tile(one.samples, 1 + int(LONGEST_S / one.duration_s))
    assert course_at_asked_speeds(replace(one, samples=samples), (REAR,), ASKED) is None
