"""The Vold-Kalman filter against a dense least-squares solution and crossing orders."""

import numpy as np
import pytest

from spinlab.vibration.vold_kalman import vold_kalman, weight_for_bandwidth
from tests.vibration.signals import SHARED, ramp


def test_the_banded_solution_equals_the_dense_one():
    rng = np.random.default_rng(0)
    n, rate = 60, 100.0
    x = rng.standard_normal(n)
    phases = [2 * np.pi * 9.0 * np.arange(n) / rate, 2 * np.pi * 23.0 * np.arange(n) / rate]
    r2 = weight_for_bandwidth(4.0, rate)
    difference = np.diff(np.eye(n), 2, axis=0)
    carriers = np.concatenate([np.diag(np.exp(1j * p)) for p in phases], axis=1)
    smooth = np.kron(np.eye(2), r2 * difference.T @ difference)
    dense = np.linalg.solve(carriers.conj().T @ carriers + smooth, carriers.conj().T @ x)
    found = vold_kalman(x, rate, phases, bandwidth_hz=4.0).envelope
    assert found == pytest.approx(2 * dense.reshape(2, n), abs=1e-9)


def test_the_stated_bandwidth_is_the_3_db_bandwidth():
    # an envelope that beats at half the bandwidth comes through 3 dB down (Tuma 2005)
    rate, t = 400.0, np.arange(8000) / 400.0
    beat = np.cos(2 * np.pi * (25.0 + 1.0) * t)
    found = vold_kalman(beat, rate, [2 * np.pi * 25.0 * t], bandwidth_hz=2.0)
    middle = np.abs(found.envelope[0, 3000:5000])
    assert middle == pytest.approx(np.sqrt(0.5), rel=0.01)


def test_the_stated_noise_gain_is_what_noise_does():
    rng = np.random.default_rng(1)
    t = np.arange(40000) / 200.0
    found = vold_kalman(rng.standard_normal(len(t)), 200.0, [2 * np.pi * 20 * t], bandwidth_hz=2.0)
    seen = np.std(found.envelope[0, 500:-500].real)
    assert seen == pytest.approx(found.noise_gain[0], rel=0.1)


def test_orders_that_cross_a_constant_tone_are_told_apart():
    # order 1 of amplitude 1 runs from 10 to 40 Hz through a tone of amplitude 2 at 25 Hz
    rate = 256.0
    t, _, turns = ramp(20.0, 600.0, 2400.0, rate)
    tone = 2 * np.pi * 25.0 * t
    x = np.cos(2 * np.pi * turns + 0.4) + 2.0 * np.cos(tone - 0.9)
    both = vold_kalman(x, rate, [2 * np.pi * turns, tone], bandwidth_hz=[1.0, 0.2]).envelope
    alone = vold_kalman(x, rate, [2 * np.pi * turns], bandwidth_hz=1.0).envelope
    middle = slice(1000, -1000)
    assert np.abs(both[0, middle]) == pytest.approx(1.0, abs=0.05)
    assert np.max(np.abs(np.abs(alone[0, middle]) - 1.0)) > 0.5


def test_a_published_sweep_keeps_its_46_hz_tone_out_of_order_1():
    # the constant tone is the strongest component; order 1 crosses it where the plate runs 46 Hz
    path = SHARED / "data/sweep_reference/plateVib.txt"
    if not path.exists():
        pytest.skip(f"measured sweep not at {path}")
    from scipy.signal import decimate, hilbert

    x, reference = np.loadtxt(path).T[:2]
    phase = np.unwrap(np.angle(hilbert(reference)))[::4]
    y, rate = decimate(x - x.mean(), 4), 320.0
    t = np.arange(len(y)) / rate
    crossing = int(np.argmin(np.abs(np.gradient(phase, t) / (2 * np.pi) - 46.0)))
    near = slice(crossing - 160, crossing + 160)
    tone = 2 * np.pi * 46.0 * t
    both = vold_kalman(y, rate, [phase, tone], bandwidth_hz=[1.0, 0.3]).envelope
    alone = vold_kalman(y, rate, [phase], bandwidth_hz=1.0).envelope
    assert np.max(np.abs(both[0, near])) < 0.6 * np.max(np.abs(alone[0, near]))


@pytest.mark.parametrize("bad", [{"poles": 3}, {"bandwidth_hz": 0.0}])
def test_a_setting_outside_its_range_is_refused(bad):
    settings = {"bandwidth_hz": 1.0, "poles": 2} | bad
    with pytest.raises(ValueError, match=r"poles|bandwidth_hz"):
        vold_kalman(np.zeros(10), 100.0, [np.zeros(10)], **settings)
