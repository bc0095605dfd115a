"""The growth law against speeds and sizes made from a formula."""

import numpy as np
import pytest

from spinlab.vibration.law import growth_law
from spinlab.vibration.tracking import track_orders
from tests.vibration.signals import coarse, log_of, ramp

RATE = 200.0


def run(size_of, *, noise=0.02, seed=0, start=300.0, end=1400.0):
    t, speed, turns = ramp(60.0, start, end, RATE)
    rng = np.random.default_rng(seed)
    x = size_of(speed) * np.cos(2 * np.pi * turns) + noise * rng.standard_normal(len(t))
    return growth_law(track_orders(log_of(x, RATE), coarse(t, speed), (1.0, 2.0)))


def test_constant_displacement_grows_with_exponent_2_and_gives_its_eccentricity():
    # a = e w^2 with e = 50 um
    found = run(lambda n: 50e-6 * (2 * np.pi * n / 60) ** 2)
    assert found.exponent.value == pytest.approx(2.0, abs=0.03)
    assert found.quadratic
    assert found.eccentricity_um.value == pytest.approx(50.0, rel=0.02)


def test_a_linear_growth_is_not_called_quadratic():
    found = run(lambda n: 1e-3 * n)
    assert found.exponent.value == pytest.approx(1.0, abs=0.05)
    assert found.quadratic is False


def test_a_cabinet_resonance_stands_above_the_law_at_its_frequency():
    def size(n):
        f, f0, z = n / 60, 16.0, 0.03
        r = f / f0
        return 50e-6 * (2 * np.pi * f) ** 2 * (1 + 2.0 * np.exp(-(((r - 1) / (2 * z)) ** 2)))

    found = run(size)
    assert [b.frequency_hz for b in found.bumps] == [pytest.approx(16.0, abs=0.5)]
    assert found.bumps[0].factor > 2.0


def test_one_plateau_alone_tells_no_law():
    found = run(lambda n: 1e-3 * n, start=1000.0, end=1000.0)
    assert found.exponent is None
    assert "too few speeds" in found.reason


def test_noise_alone_has_no_law():
    assert run(lambda n: 0.0 * n, noise=0.3).exponent is None


def test_the_exponent_covers_2_in_95_percent_of_noisy_trials():
    inside = 0
    for seed in range(100):
        found = run(lambda n: 50e-6 * (2 * np.pi * n / 60) ** 2, noise=0.2, seed=seed)
        inside += bool(found.quadratic)
    assert 90 <= inside <= 100
