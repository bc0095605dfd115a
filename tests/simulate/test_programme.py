"""The commanded speed."""

import numpy as np
import pytest

from spinlab.simulate.parameters import Step
from spinlab.simulate.programme import COMMAND_RATE_HZ, command, s_curve

RPM = 60.0 / (2.0 * np.pi)


def test_a_ramp_is_the_minimum_jerk_curve():
    # Flash and Hogan 1985, J. Neuroscience 5(7) 1688: 10 x^3 - 15 x^4 + 6 x^5.
    x = np.linspace(0.0, 1.0, 11)
    np.testing.assert_allclose(s_curve(x), 10 * x**3 - 15 * x**4 + 6 * x**5, rtol=1e-12)


def test_the_steepest_slope_is_the_one_asked_for():
    orders = command([Step(kind="spin", rpm=1000.0, rise_rpm_per_s=80.0, hold_s=2.0)])
    slope = np.diff(orders.speed_rad_s) * RPM * COMMAND_RATE_HZ
    assert slope.max() == pytest.approx(80.0, rel=1e-3)
    assert slope.min() >= -1e-9


def test_a_ramp_starts_and_ends_without_a_kink():
    orders = command([Step(kind="spin", rpm=1000.0, rise_rpm_per_s=80.0, hold_s=2.0)])
    bend = np.diff(orders.speed_rad_s, 2) * COMMAND_RATE_HZ**2
    ramp_s = orders.spans[0].hold_start_s
    largest = 10.0 / np.sqrt(3.0) * 1000.0 / RPM / ramp_s**2  # of the quintic's second derivative
    assert np.abs(bend).max() == pytest.approx(largest, rel=0.01)


def test_steps_follow_each_other_and_hold_as_long_as_asked():
    orders = command(
        [
            Step(kind="rest", hold_s=1.0),
            Step(kind="tumble", rpm=-45.0, hold_s=3.0),
            Step(kind="spin", rpm=400.0, hold_s=4.0),
        ]
    )
    holds = [span.end_s - span.hold_start_s for span in orders.spans]
    assert holds == pytest.approx([1.0, 3.0, 4.0])
    assert [span.start_s for span in orders.spans[1:]] == [span.end_s for span in orders.spans[:-1]]
    middle = orders.spans[1].hold_start_s + 1.0
    assert orders.speed_rad_s[round(middle * COMMAND_RATE_HZ)] * RPM == pytest.approx(-45.0)


def test_coasting_is_without_power_and_an_abandoned_ramp_ends_at_nought():
    orders = command(
        [
            Step(kind="abandon", rpm=300.0),
            Step(kind="coast", hold_s=2.0),
            Step(kind="distribution", rpm=80.0, hold_s=2.0),
        ]
    )
    given_up = round(orders.spans[0].end_s * COMMAND_RATE_HZ)
    assert orders.speed_rad_s[given_up] * RPM == pytest.approx(300.0)
    assert np.all(orders.speed_rad_s[given_up + 1 : given_up + 201] == 0.0)
    assert not orders.powered[given_up + 1 : given_up + 201].any()
    assert orders.powered[: given_up + 1].all()
