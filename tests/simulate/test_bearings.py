"""Damaged bearings: how often, where and how they strike."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.simulate.bearings import bearing_sound, cage_share, strikes, strikes_per_turn
from spinlab.simulate.parameters import BearingFault
from tests.simulate.machines import BALANCED, heard_by, smooth, spin
from tests.simulate.measures import band, rms

# The rig of the Machinery Failure Prevention Technology Society's open files: 8 balls of
# 5.969 mm on 31.623 mm; orders stored there: outer race 3.245, inner race 4.755, ball 2.5564.
RIG = BearingFault(balls=8, ball_diameter_mm=5.969, pitch_diameter_mm=31.623, slip_percent=0.0)
CALCULATOR_6205 = BearingFault(slip_percent=0.0)


def steady(rpm=1200.0, unbalance_kg=0.0, rate_hz=16000.0, hold_s=12.0):
    """A drum on one plateau, and the span in which it is settled."""
    heavy = replace(BALANCED, mass_kg=unbalance_kg)
    base = heard_by(smooth(*spin(rpm, hold_s=hold_s), unbalance=heavy), rate_hz=rate_hz)
    return base, base.time_s[-1] - hold_s + 3.0


@pytest.mark.parametrize(("part", "order"), [("outer", 3.245), ("inner", 4.755)])
def test_without_slip_the_rates_are_those_stored_with_the_open_rig_data(part, order):
    assert strikes_per_turn(replace(RIG, part=part)) == pytest.approx(order, rel=1e-3)


def test_a_damaged_ball_strikes_twice_per_spin():
    assert strikes_per_turn(replace(RIG, part="ball")) == pytest.approx(2.0 * 2.5564, rel=1e-3)


@pytest.mark.parametrize(("part", "rate_hz"), [("outer", 89.31), ("inner", 135.69), ("cage", 9.92)])
def test_a_6205_at_1500_rpm_gives_the_published_worked_example(part, rate_hz):
    # A published calculator's worked example: 9 balls, 7.94 mm on 38.5 mm.
    found = 25.0 * strikes_per_turn(replace(CALCULATOR_6205, part=part))
    assert found == pytest.approx(rate_hz, abs=0.02)


def test_inner_and_outer_passings_sum_to_the_number_of_balls():
    both = [strikes_per_turn(replace(RIG, part=part)) for part in ("outer", "inner")]
    assert sum(both) == pytest.approx(8.0, rel=1e-12)
    assert cage_share(RIG) == pytest.approx(both[0] / 8.0, rel=1e-12)


def test_slip_slows_the_outer_race_and_quickens_the_inner():
    slipping = replace(RIG, slip_percent=1.0)
    outer = strikes_per_turn(slipping) / strikes_per_turn(RIG)
    inner = strikes_per_turn(replace(slipping, part="inner"))
    assert outer == pytest.approx(0.99, rel=1e-9)
    assert inner > strikes_per_turn(replace(RIG, part="inner"))


@pytest.mark.parametrize("part", ["outer", "inner", "ball"])
def test_the_mean_rate_of_the_blows_is_the_formula_within_slip(part):
    base, start_s = steady()
    fault = replace(RIG, part=part, slip_percent=0.8)
    blows = strikes(fault, base, np.random.default_rng(0)).time_s
    blows = blows[blows > start_s]
    turns = np.interp(blows[[0, -1]], base.motion.time_s, base.motion.turns)
    per_turn = (len(blows) - 1) / (turns[1] - turns[0])
    assert per_turn == pytest.approx(strikes_per_turn(fault), rel=2e-3)
    assert abs(per_turn / strikes_per_turn(replace(fault, slip_percent=0.0)) - 1.0) < 0.012


def test_the_intervals_scatter_as_stated_and_the_scatter_adds_up():
    # Random slip is a random walk of the passing angle, not jitter about a clock
    # (Randall and Antoni 2011): the spread over n passings grows with the square root of n.
    base, start_s = steady(hold_s=60.0, rate_hz=8000.0)
    blows = strikes(replace(RIG, jitter_percent=1.5), base, np.random.default_rng(1)).time_s
    angle = np.interp(blows[blows > start_s], base.motion.time_s, base.motion.turns)
    one, many = np.diff(angle), angle[64:] - angle[:-64]
    assert np.std(one) / np.mean(one) == pytest.approx(0.015, rel=0.1)
    assert np.std(many) / np.std(one) == pytest.approx(8.0, rel=0.3)


def test_an_inner_race_is_struck_hard_once_per_turn_where_the_load_stands_still():
    base, start_s = steady()
    fault = replace(RIG, part="inner", severity=0.5)
    events = strikes(fault, base, np.random.default_rng(2))
    late = events.time_s > start_s
    shaft = np.interp(events.time_s[late], base.motion.time_s, base.motion.turns)
    depth = abs(np.sum(events.strength[late] * np.exp(2j * np.pi * shaft)))
    assert depth / np.sum(events.strength[late]) > 0.4


def test_an_outer_race_is_struck_evenly_without_unbalance_and_once_per_turn_with_it():
    depths = []
    for mass_kg in (0.0, 0.3):
        base, start_s = steady(unbalance_kg=mass_kg)
        events = strikes(replace(RIG, part="outer"), base, np.random.default_rng(3))
        late = events.time_s > start_s
        shaft = np.interp(events.time_s[late], base.motion.time_s, base.motion.turns)
        depth = abs(np.sum(events.strength[late] * np.exp(2j * np.pi * shaft)))
        depths.append(depth / np.sum(events.strength[late]))
    assert depths[0] < 0.1
    assert depths[1] > 0.3


@pytest.mark.parametrize("part", ["outer", "inner"])
def test_the_envelope_of_the_sound_repeats_at_the_rate_of_the_formula(part):
    base, start_s = steady()
    fault = replace(RIG, part=part, severity=0.6, jitter_percent=0.5)
    sound = bearing_sound(fault, 0, base)
    late = base.time_s > start_s
    power = band(sound, 16000.0, 2500.0, 6000.0)[late] ** 2
    power = power - power.mean()
    # By angle, so that the drum's wandering speed does not smear the line.
    turns = base.turns[late]
    orders = np.arange(2.2, 6.0, 0.01)
    size = np.array([abs(np.mean(power * np.exp(-2j * np.pi * o * turns))) for o in orders])
    assert orders[np.argmax(size)] == pytest.approx(strikes_per_turn(fault), rel=0.005)


def test_the_blows_ring_in_the_range_of_structural_resonances():
    base, start_s = steady(rate_hz=32000.0, hold_s=6.0)
    sound = bearing_sound(replace(RIG, severity=0.6), 0, base)
    late = sound[base.time_s > start_s]
    inside = rms(band(late, 32000.0, 1900.0, 8500.0))
    assert inside**2 > 0.85 * rms(late) ** 2


def test_severity_scales_the_blows_and_nought_is_silence():
    base, _ = steady(hold_s=4.0)
    soft, hard = (bearing_sound(replace(RIG, severity=s), 0, base) for s in (0.1, 0.5))
    np.testing.assert_allclose(hard, 5.0 * soft, rtol=1e-3, atol=1e-5)
    assert not bearing_sound(replace(RIG, severity=0.0), 0, base).any()


def test_a_motor_bearing_follows_the_motor():
    base, start_s = steady()
    fault = replace(RIG, place="motor drive end")
    blows = strikes(fault, base, np.random.default_rng(4)).time_s
    blows = blows[blows > start_s]
    turns = np.interp(blows[[0, -1]], base.motion.time_s, base.motion.motor_turns)
    per_turn = (len(blows) - 1) / (turns[1] - turns[0])
    assert per_turn == pytest.approx(strikes_per_turn(fault), rel=2e-3)


def test_grinding_is_a_roar_without_separate_blows():
    base, start_s = steady()
    late = base.time_s > start_s
    roar, blows = (
        bearing_sound(replace(RIG, part=part, severity=0.9), 0, base)[late].astype(np.float64)
        for part in ("grinding", "outer")
    )
    kurtosis = [float(np.mean(x**4) / np.mean(x**2) ** 2) for x in (roar, blows)]
    assert kurtosis[0] < 5.0 < kurtosis[1]
    assert rms(roar) > 0.5
