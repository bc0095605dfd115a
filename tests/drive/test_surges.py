"""Surges and what they say of a tachometer, on tracks made by hand and on simulated machines."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.drive.surges import surges
from spinlab.findings.tachometer import tachometer_findings
from spinlab.machine.value import Machine, Motor, Plateau
from spinlab.simulate import Parameters, spin_test
from spinlab.simulate.parameters import Drive, Step
from spinlab.simulate.tachometer import run
from tests.vibration.signals import track_of

MACHINE = Machine(
    name="invented",
    drive="belt",
    drum_to_motor_ratio=11.0,
    rated_maximum_rpm=1200.0,
    motor=Motor(kind="brushed", commutator_bars=24),
    programme=tuple(Plateau(rpm=rpm, tolerance_percent=3.0) for rpm in (400.0, 800.0, 1200.0)),
)


def along(*knots):
    """A track through (time_s, rpm)."""
    time, rpm = np.array(knots, float).T
    t = np.arange(0.0, time[-1], 0.1)
    return track_of(t, np.interp(t, time, rpm))


def said(track, machine=MACHINE):
    return tachometer_findings(surges(track), machine)


KEPT = ((0, 0), (3, 85), (8, 85), (12, 400), (18, 400), (22, 800), (28, 800), (32, 1200))
# 400 to 900 rpm in 2.5 s: 200 rpm/s after ramps of 79 rpm/s, and 800 rpm was asked for
RUNAWAY = ((0, 0), (3, 85), (8, 85), (12, 400), (18, 400), (20.5, 900), (45, 60), (50, 0))


def test_a_programme_that_is_kept_has_no_surge():
    assert surges(along(*KEPT, (40, 1200), (70, 0))).surges == ()
    assert said(along(*KEPT, (40, 1200), (70, 0))) == ()


def test_a_rise_past_an_asked_speed_that_is_cut_off_names_the_speed_sensor():
    track = along(*RUNAWAY)
    (one,) = surges(track).surges
    assert one.time_s == pytest.approx(20.5, abs=0.11)
    assert one.peak_rpm == pytest.approx(900.0, rel=0.01)
    assert one.rise_rpm_per_s == pytest.approx(200.0, rel=0.05)
    (found,) = said(track)
    assert found.state == "attention"
    assert found.kind == "motor"
    assert "800 rpm that it was to hold" in found.reason
    assert "unwatched" in found.next_step
    assert found.evidence["passed_rpm"] == 800.0


def test_starts_that_die_after_a_second_or_so_name_it_too():
    # to 300 rpm in 1.5 s and running out, three times, no other motion: from rest each time
    once = ((0, 0), (1, 0), (2.5, 300), (16, 20), (17, 0))
    knots = [(t + 20 * k, rpm) for k in range(3) for t, rpm in once]
    (found,) = said(along(*knots))
    assert len(found.evidence["surges"]) == 3
    assert found.state == "attention"
    assert any("imbalance" in cause.cause for cause in found.rivals)


def test_a_ramp_given_up_at_its_own_slope_is_left_to_imbalance():
    # 79 rpm/s like the ramp before, cut off at 380 rpm, below the first stage
    knots = [(0, 0), (3, 85), (8, 85), (11.7, 380), (30, 60)]
    knots += [(38, 85), (41.7, 380), (60, 60), (68, 85), (72, 400), (80, 400), (110, 0)]
    assert said(along(*knots)) == ()


def test_only_a_brushed_motor_is_judged():
    other = replace(MACHINE, motor=Motor(kind="three-phase", pole_pairs=2))
    assert said(along(*RUNAWAY), other) == ()
    assert said(along(*RUNAWAY), None) == ()


def machine(loss, steps):
    return Parameters(programme=steps, drive=Drive(tachometer_loss=loss))


def track_of_motion(motion, slowest_rpm=60.0):
    t = np.arange(0.0, motion.time_s[-1], 0.1)
    rpm = np.interp(t, motion.time_s, 60.0 * np.abs(motion.rate_hz))
    rpm = np.where(rpm < 5.0, 0.0, np.where(rpm < slowest_rpm, np.nan, rpm))
    return track_of(t, rpm)


@pytest.mark.parametrize("loss", [0.4, 1.0])
def test_a_simulated_sensor_that_fails_is_found_and_a_sound_one_is_not(loss):
    steps = spin_test((400.0, 800.0, 1200.0), hold_s=4.0, rise_rpm_per_s=80.0, coast_s=6.0)
    orders, motion = run(machine(loss, steps), 3)
    assert orders.pulses is not None
    (found,) = said(track_of_motion(motion))
    assert len(found.evidence["surges"]) == 3
    assert found.state == "attention"
    _, sound = run(machine(0.0, steps), 3)
    assert said(track_of_motion(sound)) == ()


def test_ramps_that_a_sound_controller_gives_up_name_no_sensor():
    tries = (
        Step(kind="distribution", rpm=85.0, rise_rpm_per_s=40.0, hold_s=4.0),
        Step(kind="abandon", rpm=380.0, rise_rpm_per_s=80.0),
    )
    rest = spin_test((400.0, 800.0, 1200.0), hold_s=4.0, rise_rpm_per_s=80.0, coast_s=6.0)
    _, motion = run(machine(0.0, (*tries, *tries, *rest)), 3)
    assert said(track_of_motion(motion)) == ()


def test_a_blind_controller_pulls_with_all_its_torque_and_is_cut():
    # full torque over inertia: 9 N m / 0.32 kg m2 is 28 rad/s2, 269 rpm/s before drag and power
    steps = spin_test((400.0, 800.0), hold_s=3.0, rise_rpm_per_s=60.0, coast_s=4.0)
    orders, motion = run(machine(1.0, steps), 1)
    slope = np.gradient(60.0 * motion.rate_hz, motion.time_s)
    assert 150.0 < slope.max() < 269.0
    cut = motion.time_s > np.flatnonzero(~orders.powered)[0] / 100.0 + 0.5
    assert slope[cut][:500].max() < 0.0
    assert np.count_nonzero(np.diff(orders.powered.astype(int)) < 0) == 3
