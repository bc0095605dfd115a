"""Arcing from noise and tones made by formula: the noise must swell, tones alone may not count."""

import numpy as np
import pytest

from spinlab.drive.arcing import arcing
from tests.vibration.signals import sound_of, track_of

RATE = 32000.0
MAINS_HZ = 50.0


def course():
    """Three plateaus joined by ramps, then twelve seconds in which the drum runs out."""
    knots = ((0, 600), (6, 600), (9, 900), (15, 900), (18, 1200), (24, 1200), (36, 480))
    t = np.arange(0, 36, 1 / RATE)
    return t, np.interp(t, *np.array(knots, float).T)


def measured(swell, *, tones=0.0, seed=0, off_level=1.0):
    """`swell` of time and speed multiplies the noise while the motor pulls."""
    t, speed = course()
    driven = t < 24.0
    x = np.random.default_rng(seed).standard_normal(len(t))
    x *= np.where(driven, 1.0 + swell(t, speed), off_level)
    if tones:
        # bars of a motor of ratio 11: 24 per turn, and the pull at twice the mains on each tone
        turns = np.cumsum(speed) / 60.0 / RATE * 11.0
        pull = 1.0 + 0.6 * np.cos(2 * np.pi * 2 * MAINS_HZ * t)
        for order in (12, 24, 36, 48):
            x += tones * driven * pull * np.cos(2 * np.pi * order * turns)
    coarse = np.arange(0, 36, 0.1)
    rpm = np.interp(coarse, t, speed)
    motion = np.where(coarse > 24.0, "coasting", "plateau")
    return arcing(sound_of(0.01 * x, RATE), track_of(coarse, rpm, motion=motion), mains_hz=MAINS_HZ)


def at_twice_the_mains(depth):
    return lambda t, _: depth * np.cos(2 * np.pi * 2 * MAINS_HZ * t)


def test_a_swell_of_the_noise_at_twice_the_mains_has_its_depth():
    # power (1 + m cos)^2 has a first order of 2 m / (1 + m^2 / 2): 0.392 for m = 0.2
    found = measured(at_twice_the_mains(0.2))
    for swell in found.swells:
        # levelling takes off what it holds for tones: about a tenth
        assert 0.85 * 0.392 < swell.index.value < 1.02 * 0.392
    assert found.p_value < 1e-30
    assert found.strongest.idle_p_value > 1e-3


def test_steady_noise_does_not_swell():
    # under the null p is uniform: five draws stay above 0.005 with a chance of 97 %
    for seed in range(5):
        assert measured(lambda t, _: 0.0 * t, seed=seed).p_value > 0.005


def test_tones_that_pull_at_twice_the_mains_are_no_arcing_even_while_they_sweep():
    found = measured(lambda t, _: 0.0 * t, tones=0.7)
    assert found.p_value > 0.005
    assert max(swell.index.value for swell in found.swells) < 0.05


def test_a_drum_order_that_meets_twice_the_mains_at_one_speed_is_no_arcing():
    # order 5 at 1200 rpm is 100 Hz
    def swell(t, speed):
        return 0.2 * np.cos(2 * np.pi * 5 * np.cumsum(speed) / 60.0 / RATE)

    assert measured(swell).p_value > 0.005


def test_the_motors_share_is_what_is_gone_when_it_is_off():
    # half the amplitude while the drum runs out: a quarter of the power is left
    found = measured(lambda t, _: 0.0 * t, off_level=0.5)
    for swell in found.swells:
        assert swell.motor_share == pytest.approx(0.75, abs=0.03)
    assert measured(lambda t, _: 0.0 * t).motor_share < 0.05


def test_a_narrow_recording_cannot_show_arcing():
    t = np.arange(0, 10, 1 / 4000.0)
    x = 0.01 * np.random.default_rng(0).standard_normal(len(t))
    coarse = np.arange(0, 10, 0.1)
    found = arcing(sound_of(x, 4000.0), track_of(coarse, np.full(100, 900.0)), mains_hz=50.0)
    assert "2 kHz up" in found.reason
    assert found.strongest is None
