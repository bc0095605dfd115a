"""Loudness, modulation, knocks and order patterns of sound made by formula."""

import numpy as np
import pytest

from spinlab.vibration.loudness import loudness
from spinlab.vibration.measure import measure
from spinlab.vibration.modulation import modulation
from spinlab.vibration.pattern import order_pattern
from spinlab.vibration.units import level, orbit
from tests.vibration.signals import coarse, log_of, ramp, sound_of

RATE = 8000.0


def swelling(index, *, seconds=60.0, rpm=780.0, seed=0, knock=0.0):
    """White noise whose amplitude swells once per turn, with a knock once per turn if asked."""
    t, speed, turns = ramp(seconds, rpm, rpm, RATE)
    x = np.random.default_rng(seed).standard_normal(len(t))
    x *= 1.0 + index * np.cos(2 * np.pi * turns)
    x *= 1.0 + knock * np.exp(-((((turns + 0.5) % 1.0) - 0.5) ** 2) / (2 * 0.02**2))
    return sound_of(0.01 * x, RATE), coarse(t, speed, uncertainty_rpm=0.2)


def test_band_powers_of_white_noise_are_its_variance_times_the_share_of_the_band():
    sound, _ = swelling(0.0)
    found = loudness(sound)
    width = found.bands_hz[:, 1] - found.bands_hz[:, 0]
    expected = 1e-4 * width / (RATE / 2)  # white: power in proportion to width
    assert found.power.mean(axis=1)[1:] == pytest.approx(expected[1:], rel=0.03)


@pytest.mark.parametrize("index", [0.1, 0.3])
def test_the_modulation_index_comes_out(index):
    # frames of 5 ms and cells of an eighth of a turn cut a rate of 13 Hz by 3 %
    found = modulation(*_loud(*swelling(index)))
    assert found.overall.value == pytest.approx(index, rel=0.12)


def _loud(sound, track):
    return loudness(sound), track


def test_steady_noise_has_no_modulation_beyond_its_interval():
    wide = 0
    for seed in range(10):
        found = modulation(*_loud(*swelling(0.0, seed=seed, seconds=30.0)))
        wide += found.overall.value > 3 * found.overall.standard_uncertainty + 0.01
    assert wide <= 1


def test_knocks_once_per_turn_are_told_from_a_smooth_swell():
    smooth = modulation(*_loud(*swelling(0.3)))
    knocking = modulation(*_loud(*swelling(0.1, knock=2.0)))
    assert smooth.knock_p > 1e-3
    assert knocking.knock_p < 1e-6
    assert knocking.knock_ratio > 1.3


def test_noise_is_seldom_called_knocking():
    called = sum(
        modulation(*_loud(*swelling(0.2, seed=seed, seconds=30.0))).knock_p < 1e-3
        for seed in range(30)
    )
    assert called <= 1


def shaking(orders, *, noise=0.02, seed=0):
    t, speed, turns = ramp(40.0, 900.0, 900.0, 200.0)
    x = noise * np.random.default_rng(seed).standard_normal(len(t))
    for order, size in orders.items():
        x += size * np.cos(2 * np.pi * order * turns + order)
    return log_of(x, 200.0), coarse(t, speed, uncertainty_rpm=0.2)


def test_half_orders_are_found_with_their_share():
    found = order_pattern(*shaking({1.0: 1.0, 0.5: 0.3, 1.5: 0.2, 2.0: 0.4}))
    # root sum squares by hand: sqrt(0.3^2 + 0.2^2) / sqrt(1 + 0.4^2) = 0.335
    assert found.half_order_share == pytest.approx(0.335, rel=0.03)
    assert [e.order for e in found.significant((0.5, 1.5, 2.5))] == [0.5, 1.5]


def test_a_clean_first_order_has_no_half_orders():
    for seed in range(5):
        found = order_pattern(*shaking({1.0: 1.0}, seed=seed))
        assert found.significant((0.5, 1.5, 2.5, 3.5)) == ()


def test_a_belt_order_beside_a_half_order_is_not_counted_as_one():
    log, track = shaking({1.0: 1.0, 1.444: 0.5})
    assert order_pattern(log, track, others=(0.722, 1.444)).significant((1.5,)) == ()


def test_the_three_units_of_a_sine_follow_from_each_other():
    # 1 m/s2 at 16.667 Hz by hand: 1/(2 pi f) = 9.549 mm/s peak, 6.752 RMS; 91.2 um
    found = level(1.0, 0.0, 1000.0 / 60.0, 0.0)
    assert found.velocity_mm_s_rms.value == pytest.approx(6.752, abs=0.001)
    assert found.displacement_um_peak.value == pytest.approx(91.19, abs=0.01)


def test_a_circle_is_round_and_a_line_is_not():
    assert orbit(np.array([1.0, 1.0j, 0.0])).roundness == pytest.approx(1.0)
    line = orbit(np.array([1.0, 1.0, 0.0]))
    assert line.roundness == pytest.approx(0.0, abs=1e-9)
    assert np.abs(line.direction) == pytest.approx([np.sqrt(0.5), np.sqrt(0.5), 0.0])


def test_silence_and_a_blink_of_sound_are_measured_without_error():
    t = np.arange(0, 10, 0.1)
    track = coarse(t, np.full(len(t), 900.0))
    assert measure(sound_of(np.zeros(80000), RATE), track).modulation is not None
    assert measure(sound_of(np.zeros(1), RATE), track).modulation.reason
    assert measure(log_of(np.zeros((3, 1)), 100.0), track).levels is not None
