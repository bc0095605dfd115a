"""Order amplitudes against closed forms, direct least squares and a published sweep."""

import numpy as np
import pytest

from spinlab.speed.track import Estimate
from spinlab.vibration.folding import folded_hz
from spinlab.vibration.tracking import track_orders
from tests.vibration.signals import SHARED, coarse, log_of, ramp, track_of

RATE = 200.0


def tone_at_plateau(rng, *, order_1=0.8, order_2=0.3, noise=0.2, rpm=1000.0, seconds=20.0):
    t, speed, turns = ramp(seconds, rpm, rpm, RATE)
    x = order_1 * np.cos(2 * np.pi * turns + 0.7) + order_2 * np.cos(4 * np.pi * turns - 1.1)
    return coarse(t, speed), log_of(9.81 + x + noise * rng.standard_normal(len(t)), RATE)


def test_amplitude_and_phase_of_a_clean_tone_are_exact():
    track, log = tone_at_plateau(np.random.default_rng(0), noise=0.0)
    found = track_orders(log, track)
    a1 = found.amplitude[found.index(1.0), 0]
    assert np.abs(a1) == pytest.approx(0.8, rel=2e-4)
    assert np.angle(a1) == pytest.approx(0.7, abs=2e-3)
    assert found.size(2.0) == pytest.approx(0.3, rel=1e-3)


def test_amplitudes_equal_direct_least_squares_over_the_same_window():
    track, log = tone_at_plateau(np.random.default_rng(1))
    found = track_orders(log, track)
    w = len(found.time_s) // 2
    rate = RATE
    start = found.time_s[w] - found.length_s[w] / 2
    n = np.arange(int(np.ceil(start * rate)), int((start + found.length_s[w]) * rate))
    angle = 2 * np.pi * (1000.0 / 60.0) * n / rate
    weight = np.hanning(len(n) + 2)[1:-1] ** 0.5
    columns = [np.ones(len(n)), n - n.mean()]
    for o in found.orders:
        columns += [np.cos(o * angle), np.sin(o * angle)]
    matrix = np.column_stack(columns)
    solution = np.linalg.lstsq(
        matrix * weight[:, None], log.samples[0, n].astype(float) * weight, rcond=None
    )[0]
    k = found.index(1.0)
    direct = np.hypot(solution[2 + 2 * k], solution[3 + 2 * k])
    assert abs(found.amplitude[k, 0, w]) == pytest.approx(direct, rel=2e-3)


def test_stated_intervals_cover_the_truth_in_95_percent_of_noisy_windows():
    rng = np.random.default_rng(2)
    inside = total = 0
    for _ in range(60):
        track, log = tone_at_plateau(rng, noise=0.5)
        found = track_orders(log, track)
        k = found.index(1.0)
        truth = 0.8 * np.exp(0.7j)
        error = found.amplitude[k, 0] - truth
        u = found.standard_uncertainty[k, 0]
        for part in (error.real, error.imag):
            inside += int(np.sum(np.abs(part) <= 1.96 * u))
            total += len(part)
    assert 0.93 <= inside / total <= 0.97


def test_an_order_that_is_not_there_stays_within_its_noise():
    track, log = tone_at_plateau(np.random.default_rng(3), noise=0.5)
    found = track_orders(log, track)
    ratio = found.size(1.5) / found.size_uncertainty(1.5)
    assert np.mean(ratio < 3.03) > 0.97  # Rayleigh: 1 % above 3.03


def test_a_quadratic_run_up_is_followed():
    t, speed, turns = ramp(20.0, 300.0, 1500.0, 400.0)
    size = 1e-6 * speed**2
    log = log_of(size * np.cos(2 * np.pi * turns), 400.0)
    found = track_orders(log, coarse(t, speed))
    assert found.size(1.0) == pytest.approx(1e-6 * found.speed_rpm**2, rel=0.02)


def test_a_wrong_speed_widens_the_interval_instead_of_passing_unseen():
    _, _, turns = ramp(20.0, 1000.0, 1000.0, RATE)
    log = log_of(np.cos(2 * np.pi * turns), RATE)
    wrong = track_of(np.arange(0, 20, 0.1), np.full(200, 1030.0), uncertainty_rpm=30.0)
    found = track_orders(log, wrong, (1.0,))
    error = np.abs(found.size(1.0) - 1.0)
    assert np.all(error <= 3 * found.size_uncertainty(1.0))


def test_an_order_above_half_the_rate_is_forbidden_with_the_reason():
    t, speed, turns = ramp(10.0, 1260.0, 1260.0, 92.0)
    found = track_orders(log_of(np.cos(2 * np.pi * turns), 92.0), coarse(t, speed), (1.0, 2.0))
    assert found.usable(1.0).all()
    assert not found.usable(2.0).any()
    assert "half the log's rate" in found.trouble[1, 0]


def test_an_order_that_another_folds_onto_is_named():
    # at 92 Hz and 1380 rpm (23 Hz) order 3 (69 Hz) folds to 23 Hz: exactly onto order 1
    t, speed, turns = ramp(10.0, 1380.0, 1380.0, 92.0)
    found = track_orders(log_of(np.cos(6 * np.pi * turns), 92.0), coarse(t, speed), (1.0,))
    assert "order 3 at 69.0 Hz folds onto order 1" in found.trouble[0, 0]


def test_mains_folded_onto_an_order_is_named():
    # 100 Hz in samples at 92 Hz appears at 8 Hz: order 1 at 480 rpm
    t, speed, turns = ramp(10.0, 480.0, 480.0, 92.0)
    mains = Estimate(value=50.0, standard_uncertainty=0.01)
    found = track_orders(
        log_of(np.cos(2 * np.pi * turns), 92.0), coarse(t, speed, mains_hz=mains), (1.0,)
    )
    assert "100 Hz from the mains appears at 8.0 Hz" in found.trouble[0, 0]


def test_50_hz_at_92_04_samples_per_second_folds_to_42_04_hz():
    # by hand: |50 - 92.04|; seen as a line in an open log of a real machine
    assert folded_hz(50.0, 92.04) == pytest.approx(42.04)


def test_without_a_known_speed_there_are_no_windows():
    log = log_of(np.zeros((3, 1000)), RATE)
    found = track_orders(log, track_of(np.arange(0, 5, 0.1), np.full(50, np.nan)))
    assert found.amplitude.shape == (5, 3, 0)
    assert found.size(1.0).shape == (0,)


def test_a_published_plate_sweep_gives_order_4_as_its_strongest():
    path = SHARED / "data/sweep_reference/plateVib.txt"
    if not path.exists():
        pytest.skip(f"measured sweep not at {path}")
    from scipy.signal import hilbert

    x, reference = np.loadtxt(path).T[:2]
    turns = np.unwrap(np.angle(hilbert(reference))) / (2 * np.pi)
    t = np.arange(len(x)) / 1280.0
    frames = np.arange(0.5, t[-1] - 0.5, 0.05)
    rate = np.gradient(np.interp(frames, t, turns), frames)
    track = track_of(frames, 60 * rate, uncertainty_rpm=1.0)
    found = track_orders(log_of(x - x.mean(), 1280.0), track, range(1, 10), turns=12.0)
    strength = [np.sqrt(np.mean(found.size(o)[found.usable(o)] ** 2)) for o in range(1, 10)]
    assert 1 + int(np.argmax(strength)) == 4
