"""Findings on an indicated course are no surer than its scale."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.analysis.measure import LONGEST_HOLE_S, on_course
from spinlab.bearings.stagewise import stretches
from spinlab.finding import Finding
from spinlab.findings.indicated import on_indicated
from spinlab.orders import Span
from spinlab.speed.track import IndicatedCourse
from tests.courses import track_through


def indicated_track():
    track = track_through((0, 0), (5, 400), (30, 400), scale="relative", reason="too faint")
    unknown = replace(track, speed_rpm=np.full(len(track.time_s), np.nan))
    time_s = np.concatenate([np.arange(5.0, 12.0, 0.3), np.arange(20.0, 25.0, 0.3)])
    course = IndicatedCourse(
        time_s=time_s, speed_rpm=np.full(len(time_s), 404.0), scale_sigma=0.006, weight=0.92
    )
    return replace(unknown, indicated=course)


def finding(state, probability):
    return Finding(
        kind="bearing", subject="race", state=state, probability=probability, reason="heard"
    )


def test_a_finding_is_weighed_by_the_scale_and_says_how_well_orders_are_known():
    (found,) = on_indicated([finding("fault", 0.95)], indicated_track().indicated)
    assert found.probability == pytest.approx(0.95 * 0.92)
    assert found.reason.endswith("every order is known to 1.2 %.")


def test_what_is_attention_however_sure_is_no_fault_on_an_indicated_course():
    (found,) = on_indicated([finding("attention", 0.95)], indicated_track().indicated)
    assert (found.state, found.probability) == ("attention", pytest.approx(0.95 * 0.92))


def test_what_is_clear_or_measured_stays_as_it_is():
    clear = finding("clear", 0.05)
    assert on_indicated([clear], indicated_track().indicated) == (clear,)
    fault = finding("fault", 0.95)
    assert on_indicated([fault], None) == (fault,)


def test_bearings_are_looked_for_along_the_course_and_not_in_its_holes():
    track = on_course(indicated_track(), indicated_track().indicated)
    inside = (track.time_s > 5) & (track.time_s < 11.5)
    assert track.speed_rpm[inside] == pytest.approx(404.0)
    assert track.standard_uncertainty_rpm[inside] == pytest.approx(0.006 * 404.0)
    hole = (track.time_s > 12 + LONGEST_HOLE_S) & (track.time_s < 20 - LONGEST_HOLE_S)
    assert np.isnan(track.speed_rpm[hole]).all()


def test_levels_of_an_indicated_course_are_stretches_of_their_own():
    # two levels in one course: whether lines move with the speed can be told
    time_s = np.arange(0.0, 40.0, 0.3)
    speed = np.interp(time_s, [0, 18, 22, 40], [500.0, 500.0, 1000.0, 1000.0])
    course = IndicatedCourse(time_s=time_s, speed_rpm=speed, scale_sigma=0.006, weight=0.92)
    track = on_course(indicated_track(), course)
    held = stretches(track, [Span(0.0, 29.0)])
    plateaus = [span for span, motion in held if motion == "plateau"]
    assert len(plateaus) == 2
    assert plateaus[0].end_s == pytest.approx(18.0, abs=1.5)
    assert plateaus[1].start_s == pytest.approx(22.0, abs=1.5)


def course_of_blows():
    return replace(indicated_track().indicated, asked_rpm=(400.0, 1200.0))


def test_a_course_that_blows_told_says_so_and_what_would_settle_it():
    (found,) = on_indicated([finding("fault", 0.95)], course_of_blows())
    assert found.probability == pytest.approx(0.95 * 0.92)
    assert "was not measured" in found.reason
    assert "(400, 1200 rpm)" in found.reason
    assert "closer to the machine" in found.next_step
    # what the scale leaves to other speeds stands among the rivals
    assert [rival.probability for rival in found.rivals] == [pytest.approx(0.95 * 0.08)]


def test_a_course_that_damage_told_clears_no_bearing():
    (found,) = on_indicated([finding("clear", 0.05)], course_of_blows())
    assert found.state == "not measurable"
    # nor does it accuse where the scale leaves too little
    unlikely = replace(course_of_blows(), weight=0.3)
    (found,) = on_indicated([finding("fault", 0.95)], unlikely)
    assert found.state == "not measurable"
