"""Levels on plateaus: every part of a plateau counts alike, and a sensor's range is no fault."""

import numpy as np
import pytest

from spinlab.vibration.plateaus import plateau_levels, plateau_spans
from spinlab.vibration.tracking import track_orders
from tests.vibration.signals import coarse, log_of, track_of

RATE = 200.0
RANGE_M_S2 = 2.0 * 9.80665


def plateau_then_ramp(rate=RATE):
    """5 s at 1200 rpm, then a ramp of 5 s to 1500 rpm: time, speed, turns."""
    t = np.arange(round(10.0 * rate)) / rate
    speed = 1200.0 + 60.0 * np.maximum(t - 5.0, 0.0)
    return t, speed, np.concatenate([[0.0], np.cumsum(speed[1:] + speed[:-1]) / 120.0 / rate])


def first_order(log, track):
    spans = plateau_spans(track)
    return next(one for one in plateau_levels(track_orders(log, track), spans) if one.order == 1.0)


def test_a_level_that_changes_within_the_plateau_is_averaged_over_all_of_it():
    # closed form: the root mean square of 1 + 0.1 t over 0 to 5 s is sqrt(1 + 0.5 + 1/12)
    t, speed, turns = plateau_then_ramp()
    size = 1.0 + 0.1 * np.minimum(t, 5.0)
    found = first_order(log_of(size * np.cos(2 * np.pi * turns), RATE), coarse(t, speed))
    truth = np.sqrt(1.0 + 0.5 + 1.0 / 12.0)
    assert found.total.acceleration_m_s2_peak.value == pytest.approx(truth, rel=0.015)


@pytest.mark.parametrize("depth", [0.0, 0.1])
def test_the_interval_of_a_plateaus_mean_covers_it_in_95_percent_whatever_the_level_does(depth):
    rng = np.random.default_rng(5)
    t, speed, turns = plateau_then_ramp()
    inside = 0
    for _ in range(80):
        swing = 1.0 + depth * np.sin(2 * np.pi * rng.uniform(0.05, 0.2) * t + rng.uniform(0, 6.28))
        x = swing * np.cos(2 * np.pi * turns) + 0.4 * rng.standard_normal(len(t))
        found = first_order(log_of(x, RATE), coarse(t, speed)).total.acceleration_m_s2_peak
        truth = float(np.sqrt(np.mean(swing[: round(5.0 * RATE)] ** 2)))
        inside += abs(found.value - truth) <= 1.96 * found.standard_uncertainty
    assert 69 <= inside <= 80  # 99.9 % of Binomial(80, 0.95) from below


def clipped(size, *, jitter_s=0.0, seed=0, rate=RATE, rpm=1380.0):
    """A first order beside gravity, cut off at the ends of a sensor's range."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(6.0 * rate)) / rate
    at = t + jitter_s * rng.standard_normal(len(t))
    x = 3.0 + size * np.cos(2 * np.pi * rpm / 60.0 * at) + 0.02 * rng.standard_normal(len(t))
    log = log_of(np.clip(x, -RANGE_M_S2, RANGE_M_S2), rate, jitter_s=jitter_s)
    return log, track_of(np.arange(0, 6.0, 0.1), np.full(60, rpm), uncertainty_rpm=0.3)


@pytest.mark.parametrize("size", [18.0, 22.0])
def test_a_first_order_beyond_the_sensors_range_is_told_by_its_flanks(size):
    found = first_order(*clipped(size)).total.acceleration_m_s2_peak
    assert found.value == pytest.approx(size, rel=0.01)


def test_the_interval_of_a_clipped_level_with_jittered_stamps_still_covers_it():
    for seed in range(12):
        found = first_order(*clipped(22.0, jitter_s=3e-4, seed=seed)).total.acceleration_m_s2_peak
        assert abs(found.value - 22.0) <= 2.6 * found.standard_uncertainty
        assert found.standard_uncertainty < 0.1 * found.value


def test_a_sensor_that_stands_at_its_end_of_range_most_of_the_time_gives_no_number():
    found = first_order(*clipped(60.0))
    assert found.total is None
    assert "end of range" in found.reason


def test_an_order_that_folds_onto_the_first_does_not_blow_it_up():
    # at 50 samples per second and 1198 rpm order 1.5 (30 Hz) appears at 20 Hz, where order 1 is
    t = np.arange(300) / 50.0
    rng = np.random.default_rng(0)
    x = np.cos(2 * np.pi * 19.97 * t) + 0.1 * rng.standard_normal(len(t))
    track = track_of(np.arange(0, 6.0, 0.1), np.full(60, 1198.2), uncertainty_rpm=0.3)
    found = first_order(log_of(x, 50.0), track).total.acceleration_m_s2_peak
    assert found.value == pytest.approx(1.0, rel=0.03)
    assert found.standard_uncertainty < 0.1
