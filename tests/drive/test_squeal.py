"""A cry while the motor pulls, and what is none: sounds made by formula."""

import numpy as np
import pytest

from spinlab.drive.squeal import squeal
from spinlab.findings.belt import SQUEAL_DB
from tests.drive.test_drive import RATE, RATIO, staircase
from tests.vibration.signals import coarse, sound_of


def heard(extra, *, seed=0):
    """Noise with something added, and what is made of it; `extra` of time, speed and turns."""
    t, speed, turns = staircase()
    x = np.random.default_rng(seed).standard_normal(len(t)) + extra(t, speed, turns)
    return squeal(sound_of(0.01 * x, RATE), coarse(t, speed), motor_ratio=RATIO)


def raw(t, pitch_hz):
    """A tone with overtones of 1 / k, as a bowed string's saw-tooth has (Helmholtz 1863)."""
    return sum(np.sin(2 * np.pi * k * pitch_hz * t) / k for k in range(1, 5))


def ramps(t):
    """1 in the two ramps of the staircase: 10-13 s and 23-26 s."""
    return ((t > 10) & (t < 13) | (t > 23) & (t < 26)).astype(float)


def test_a_cry_in_the_ramps_is_found_at_its_pitch():
    found = heard(lambda t, speed, turns: 0.6 * ramps(t) * raw(t, 640.0))
    assert found.pitch_hz == pytest.approx(640.0, rel=0.1)
    assert found.more_db > 3.0
    assert found.pulling_s == pytest.approx(6.0, abs=1.0)


def test_the_same_tone_all_the_time_is_no_cry_of_the_belt():
    # the motor's multiples hide some of it on some plateaus, so that a little is left
    assert heard(lambda t, speed, turns: 0.6 * raw(t, 640.0)).more_db < 0.8 * SQUEAL_DB


def test_a_motor_whose_orders_sweep_through_is_no_cry():
    def motor(t, speed, turns):
        return sum(np.cos(2 * np.pi * k * RATIO * turns) for k in (1, 2, 3, 4, 6, 12))

    assert heard(motor).more_db < 1.0


def test_noise_alone_cries_nowhere():
    assert max(heard(lambda t, speed, turns: 0.0 * t, seed=k).more_db for k in range(3)) < 1.0


def test_a_recording_of_one_plateau_cannot_tell():
    t = np.arange(0, 12.0, 1 / RATE)
    flat = np.full(len(t), 900.0)
    x = np.random.default_rng(0).standard_normal(len(t))
    found = squeal(sound_of(x, RATE), coarse(t, flat), motor_ratio=RATIO)
    assert found.more_db is None
    assert "ramp" in found.reason
