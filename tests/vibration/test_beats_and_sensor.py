"""Slow beats in series made by formula, and a sensor that moves."""

import numpy as np
import pytest

from spinlab.vibration.beats import beat
from spinlab.vibration.sensor import sensor_state
from tests.vibration.signals import SHARED, log_of

STEP = 0.1


def series(seconds=60.0, *, rate=0.4, depth=0.0, noise=0.02, seed=0, red=0.0):
    from scipy.signal import lfilter

    t = np.arange(0, seconds, STEP)
    e = lfilter([np.sqrt(1 - red**2)], [1, -red], np.random.default_rng(seed).normal(size=len(t)))
    return t, 1000.0 * (1 + depth * np.cos(2 * np.pi * rate * t) + noise * e)


def test_a_beat_has_its_rate_and_depth():
    found = beat(*series(depth=0.05))
    assert found.rate_hz.value == pytest.approx(0.4, abs=0.005)
    assert found.depth_percent.value == pytest.approx(5.0, abs=0.5)
    assert found.p_value < 1e-6


@pytest.mark.parametrize("red", [0.0, 0.7])
def test_noise_is_seldom_called_a_beat(red):
    # at p < 0.001; the noise's own colour is fitted too, so up to five times that is let pass
    called = sum(beat(*series(seed=seed, red=red)).p_value < 0.001 for seed in range(300))
    assert called <= 4


@pytest.mark.parametrize("red", [0.0, 0.7])
def test_rate_and_depth_are_covered_in_95_percent_of_trials(red):
    rate = depth = 0
    for seed in range(200):
        found = beat(*series(depth=0.02, seed=seed, red=red))
        rate += abs(found.rate_hz.value - 0.4) <= 1.96 * found.rate_hz.standard_uncertainty
        u = found.depth_percent.standard_uncertainty
        depth += abs(found.depth_percent.value - 2.0) <= 1.96 * u
    assert 0.9 <= rate / 200 <= 1.0
    assert 0.9 <= depth / 200 <= 1.0


def test_a_short_plateau_has_no_beat_and_says_why():
    t, v = series(seconds=1.4)
    assert "too short" in beat(t, v).reason


def gravity(tilt_deg, seconds=60.0, seed=0):
    rate = 100.0
    t = np.arange(0, seconds, 1 / rate)
    angle = np.radians(np.where(t < seconds / 2, 0.0, tilt_deg))
    x = 9.81 * np.stack([np.sin(angle), np.zeros_like(t), np.cos(angle)])
    return log_of(x + 0.05 * np.random.default_rng(seed).standard_normal(x.shape), rate)


def test_a_sensor_that_turns_is_seen_with_angle_and_time():
    found = sensor_state(gravity(5.0))
    assert found.tilt_deg == pytest.approx(5.0, abs=0.1)
    assert found.steps_s == (pytest.approx(30.0, abs=4.0),)


def test_a_sensor_that_stays_has_no_steps():
    found = sensor_state(gravity(0.0))
    assert found.tilt_deg < 0.1
    assert found.steps_s == ()


def test_samples_piled_up_at_2_g_are_clipping():
    t = np.arange(0, 20, 0.01)
    x = np.clip(30.0 * np.sin(2 * np.pi * 15 * t), -2 * 9.80665, 2 * 9.80665)
    found = sensor_state(log_of(x, 100.0))
    assert found.clipped_share > 0.3
    assert found.range_m_s2 == pytest.approx(19.6133)
    assert sensor_state(log_of(0.5 * x, 100.0)).clipped_share == 0.0


def test_a_log_without_gravity_cannot_tell_tilt():
    log = log_of(np.random.default_rng(0).standard_normal((3, 4000)), 100.0)
    assert "gravity" in sensor_state(log).reason


def test_the_machine_that_is_off_keeps_its_sensor_still():
    path = SHARED / "data/washer_accel/machine_off.csv"
    if not path.exists():
        pytest.skip(f"measured log not at {path}")
    rows = np.genfromtxt(path, delimiter=",", skip_header=1, dtype=str)
    x = rows[rows[:, 1] == "A"][:, 2:5].astype(float).T * 9.80665
    found = sensor_state(log_of(x, 92.04))
    assert found.tilt_deg < 0.1
    assert found.steps_s == ()
