"""Swept resonance and free decay against closed forms solved independently (scipy.odeint)."""

import numpy as np
import pytest

from spinlab.vibration.decay import free_decay
from spinlab.vibration.resonance import passages
from spinlab.vibration.sweep import swept_response
from tests.vibration.signals import coarse, log_of

RATE = 100.0


def run_up(natural_hz, damping, *, rise=40.0, noise=0.02, seed=0, rate=RATE, down=False):
    """A tub with rotating unbalance through its resonance, integrated by odeint."""
    from scipy.integrate import odeint

    t = np.arange(0, 900.0 / rise, 1 / rate)
    speed = 20.0 + rise * t
    turns = (20.0 * t + 0.5 * rise * t**2) / 60.0
    if down:
        speed = speed[::-1].copy()
        turns = np.concatenate([[0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))]) / rate / 60.0
    w0, v_dot = 2 * np.pi * natural_hz, (-1 if down else 1) * rise / 60 * 2 * np.pi

    def slope(y, time):
        v = 2 * np.pi * np.interp(time, t, speed) / 60
        angle = 2 * np.pi * np.interp(time, t, turns)
        force = 1e-3 * (v**2 * np.cos(angle) + v_dot * np.sin(angle))
        return [y[1], force - 2 * damping * w0 * y[1] - w0**2 * y[0]]

    y = odeint(slope, [0.0, 0.0], t, hmax=0.01)
    acceleration = np.array([slope(v, time)[1] for v, time in zip(y, t, strict=True)])
    rng = np.random.default_rng(seed)
    x = np.stack([acceleration, 0.3 * acceleration, np.zeros_like(t)])
    x += noise * rng.standard_normal(x.shape)
    return coarse(t, speed, uncertainty_rpm=1.0), log_of(x, rate), (t, turns, acceleration)


def strongest(found):
    return max(found, key=lambda passage: passage.size_m_s2.max())


def test_the_swept_response_equals_an_independent_integration():
    _, _, (_t, turns, acceleration) = run_up(3.2, 0.1, noise=0.0)
    found = 1e-3 * swept_response(turns, RATE, natural_hz=3.2, damping_ratio=0.1)
    error = np.sqrt(np.mean((found - acceleration)[50:] ** 2) / np.mean(acceleration**2))
    assert error < 0.03


@pytest.mark.parametrize("natural_hz", [2.4, 3.4, 5.0])
@pytest.mark.parametrize("damping", [0.03, 0.1, 0.2])
@pytest.mark.parametrize("down", [False, True])
def test_frequency_and_damping_come_out_of_a_ramp(natural_hz, damping, down):
    track, log, _ = run_up(natural_hz, damping, down=down)
    found = strongest(passages(log, track))
    assert found.direction == ("down" if down else "up")
    assert found.frequency_hz.value == pytest.approx(natural_hz, rel=0.04)
    assert found.damping_ratio.value == pytest.approx(damping, rel=0.25)
    error = abs(found.damping_ratio.value - damping)
    assert error <= 3 * found.damping_ratio.standard_uncertainty


def test_half_power_agrees_where_the_sweep_is_slow():
    track, log, _ = run_up(4.0, 0.15, rise=8.0)
    found = strongest(passages(log, track))
    assert found.sweep_share < 1.0
    assert found.half_power_damping.value == pytest.approx(0.15, rel=0.2)


def test_half_power_overstates_damping_where_the_sweep_is_fast_and_says_so():
    track, log, _ = run_up(3.0, 0.03, rise=60.0)
    found = strongest(passages(log, track))
    assert found.sweep_share > 1.0
    assert found.half_power_damping is None or found.half_power_damping.value > 0.045


def test_noise_without_a_first_order_has_no_resonance():
    track, log, _ = run_up(3.0, 0.1)
    noise = np.random.default_rng(1).standard_normal(log.samples.shape)
    for found in passages(log_of(noise, RATE), track):
        assert found.damping_ratio is None
        assert found.reason


def decaying(natural_hz, damping, *, noise, seed, friction=0.0):
    t = np.arange(0, 6.0, 1 / RATE)
    envelope = np.maximum(np.exp(-damping * 2 * np.pi * natural_hz * t) - friction * t, 0.0)
    x = np.zeros((3, len(t)))
    x[2] = envelope * np.cos(2 * np.pi * natural_hz * np.sqrt(1 - damping**2) * t + 0.3)
    x[0] = 0.4 * x[2]
    return log_of(x + noise * np.random.default_rng(seed).standard_normal(x.shape), RATE)


@pytest.mark.parametrize("damping", [0.02, 0.05, 0.1])
def test_the_decrement_of_a_closed_form_decay(damping):
    found = free_decay(decaying(3.3, damping, noise=0.004, seed=0), 0.0)
    assert found.frequency_hz.value == pytest.approx(3.3, rel=0.02)
    assert found.damping_ratio.value == pytest.approx(damping, rel=0.1)


def test_the_decrement_covers_the_truth_in_95_percent_of_trials():
    inside = 0
    for seed in range(200):
        found = free_decay(decaying(3.3, 0.05, noise=0.03, seed=seed), 0.0)
        error = abs(found.damping_ratio.value - 0.05)
        inside += error <= 1.96 * found.damping_ratio.standard_uncertainty
    assert 0.9 <= inside / 200 <= 1.0


def test_dry_friction_shows_as_a_growing_decrement():
    dry = free_decay(decaying(4.0, 0.005, noise=0.002, seed=1, friction=0.4), 0.0)
    wet = free_decay(decaying(4.0, 0.04, noise=0.002, seed=1), 0.0)
    assert dry.growth > 1.5
    assert wet.growth == pytest.approx(1.0, abs=0.2)


def test_quiet_holds_no_decay():
    log = log_of(0.01 * np.random.default_rng(2).standard_normal((3, 600)), RATE)
    assert "three are needed" in free_decay(log, 0.0).reason
