"""What the drum does, told from its speed alone.

Speeds come from straight lines drawn here, and from the simulator's integrated drum, whose truth
is known; the noise is added here.
"""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.simulate import load_scenario, random_parameters, random_programme
from spinlab.speed.motion import classify
from tests.courses import HOP_S, drawn, turned


def order_of(motion):
    """Motions in the order in which they come, repeats left out."""
    new = np.concatenate([[True], motion[1:] != motion[:-1]])
    return motion[new].tolist()


def share(motion, inside, name):
    return float(np.mean(motion[inside] == name))


def test_a_spin_test_is_rest_distribution_ramps_plateaus_and_coasting_in_this_order():
    time_s, speed, sigma = drawn(
        (0, 0), (3, 0), (6, 85), (16, 85), (20, 400), (30, 400), (38, 1200), (50, 1200), (70, 0),
        (75, 0), noise=0.002,
    )  # fmt: skip
    assert order_of(classify(time_s, speed, sigma)) == [
        "rest", "ramp", "distribution", "ramp", "plateau", "ramp", "plateau", "coasting", "rest",
    ]  # fmt: skip


@pytest.mark.parametrize("noise", [0.0005, 0.002, 0.005])
def test_every_plateau_of_random_machines_is_found_whatever_the_noise(noise):
    found = total = 0
    for seed in range(6):
        rng = np.random.default_rng(seed)
        parameters = replace(random_parameters(rng), programme=random_programme(rng))
        time_s, speed, sigma, stages = turned(parameters, noise=noise, seed=seed)
        motion = classify(time_s, speed, sigma)
        for stage in stages:
            total += 1
            inside = (time_s > stage.start_s + 0.5) & (time_s < stage.end_s - 0.5)
            found += share(motion, inside, "plateau") > 0.8
    assert (found, total) == (total, total)
    assert total > 20


def test_a_steep_ramp_and_a_slow_one_hold_no_plateau():
    for seconds in (5, 10, 20, 60):
        time_s, speed, sigma = drawn((0, 100), (seconds, 1400), noise=0.001)
        assert set(classify(time_s, speed, sigma)) == {"ramp"}


def test_a_coast_down_holds_no_plateau_even_in_noise():
    # exponential fall from 1400 rpm, as with viscous drag
    time_s = np.arange(0, 40, HOP_S)
    for seed in range(20):
        speed = 1400 * np.exp(-time_s / 20)
        sigma = 0.003 * speed
        speed = speed + sigma * np.random.default_rng(seed).normal(size=len(speed))
        assert "plateau" not in classify(time_s, speed, sigma)


@pytest.mark.parametrize("rate_hz", [0.05, 0.1, 0.3, 0.6, 1.2])
@pytest.mark.parametrize("swing_rpm", [6, 14, 22])
def test_a_hunting_controller_holds_one_plateau(rate_hz, swing_rpm):
    time_s, speed, sigma = drawn((0, 400), (2, 400), (6, 1000), (46, 1000), (50, 1300), noise=0.001)
    swing = swing_rpm * np.sin(2 * np.pi * rate_hz * time_s)
    speed += swing * ((speed > 950) & (time_s < 46))
    inside = (time_s > 7.5) & (time_s < 45)
    assert order_of(classify(time_s, speed, sigma)[inside]) == ["plateau"]


def test_two_levels_close_to_each_other_are_two_plateaus():
    time_s, speed, sigma = drawn((0, 1000), (10, 1000), (11, 1030), (21, 1030), noise=0.0005)
    assert order_of(classify(time_s, speed, sigma)) == ["plateau", "ramp", "plateau"]


def test_a_plateau_needs_a_second_and_a_half():
    long = drawn((0, 400), (4, 400), (6, 700), (8.4, 700), (10, 1000), (14, 1000))
    short = drawn((0, 400), (4, 400), (6, 700), (6.8, 700), (9, 1000), (14, 1000))
    assert order_of(classify(*long)).count("plateau") == 3
    assert order_of(classify(*short)).count("plateau") == 2


def test_single_misread_frames_neither_break_a_plateau_nor_count_as_one():
    time_s, speed, sigma = drawn((0, 400), (3, 400), (6, 800), (18, 800), (21, 1200), noise=0.002)
    held = np.flatnonzero((time_s > 8) & (time_s < 16))
    wrong = held[[4, 15]]
    speed[wrong] *= (0.5, 2.0)
    motion = classify(time_s, speed, sigma)
    assert set(motion[wrong]) == {"unknown"}
    assert set(motion[np.setdiff1d(held, wrong)]) == {"plateau"}


def test_unknown_frames_stay_unknown_and_leave_the_rest_as_it_is():
    time_s, speed, sigma = drawn((0, 400), (3, 400), (6, 800), (18, 800), (21, 1200), noise=0.002)
    whole = classify(time_s, speed, sigma)
    holes = np.random.default_rng(1).random(len(speed)) < 0.1
    speed[holes] = np.nan
    holed = classify(time_s, speed, sigma)
    assert set(holed[holes]) == {"unknown"}
    assert np.mean(holed[~holes] == whole[~holes]) > 0.95


def test_tumbling_with_pauses_is_told_from_distribution():
    bursts = [c for k in range(5) for c in ((12 * k, 0), (12 * k + 1, 48), (12 * k + 8, 48),
                                            (12 * k + 9, 0))]  # fmt: skip
    time_s, speed, sigma = drawn(*bursts, (70, 0), (72, 85), (84, 85), (90, 500), (96, 500))
    motion = classify(time_s, speed, sigma)
    turning = (speed > 5) & (time_s < 60)
    assert share(motion, turning, "tumbling") == 1.0
    assert share(motion, (time_s > 73) & (time_s < 83), "distribution") == 1.0


def test_a_ramp_given_up_falls_back_without_a_plateau_at_its_top():
    orders_and_truth = turned(load_scenario("gives-up-and-retries"), noise=0.001, seed=1)
    time_s, speed, sigma, stages = orders_and_truth
    motion = classify(time_s, speed, sigma)
    before = time_s < stages[0].start_s - 1
    assert "plateau" not in motion[before]
    assert order_of(motion[before]).count("distribution") >= 3


def test_a_plateau_that_the_file_cuts_off_is_still_one():
    time_s, speed, sigma = drawn((0, 1000), (3, 1000), noise=0.001)
    assert set(classify(time_s, speed, sigma)) == {"plateau"}


@pytest.mark.parametrize("count", [0, 1, 2, 5])
def test_a_track_too_short_to_tell_is_unknown_or_nothing(count):
    speed = np.full(count, np.nan)
    assert set(classify(np.arange(count) * HOP_S, speed, speed)) <= {"unknown"}


def test_arrays_of_different_shape_are_refused():
    with pytest.raises(ValueError, match="same shape"):
        classify(np.zeros(3), np.zeros(3), np.zeros(2))
