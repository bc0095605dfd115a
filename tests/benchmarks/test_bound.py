"""The bounds against the numeric Fisher matrix, and an estimator that meets them."""

import numpy as np
import pytest

from tests.benchmarks.bound import (
    best_rate,
    chirp_rate_variance,
    fundamental_variance,
    harmonic_signal,
    numeric_variance,
    tone_variance,
)

RATE_HZ, COUNT = 1000.0, 1000
AMPLITUDES = (1.0, 0.8, 0.6, 0.4, 0.2)
ORDERS = (1, 2, 3, 4, 5)
NOISE_VARIANCE = 0.5


def harmonic_parameters(rate_hz, seed=3):
    phases = np.random.default_rng(seed).uniform(0, 2 * np.pi, len(ORDERS))
    return np.concatenate([[rate_hz], AMPLITUDES, phases])


def test_a_real_tone_at_0_db_for_1_s_is_known_to_0_0174_hz():
    # Computed from the formula of Kay 1993, example 3.14 (formula from memory).
    assert np.sqrt(tone_variance(1.0, RATE_HZ, COUNT)) == pytest.approx(0.01743, rel=1e-3)


def test_the_tones_bound_is_the_fisher_matrixs():
    time_s = np.arange(COUNT) / RATE_HZ

    def tone(p):
        return p[1] * np.cos(2 * np.pi * p[0] * time_s + p[2])

    numeric = numeric_variance(tone, np.array([97.3, 1.0, 0.7]), NOISE_VARIANCE)
    assert tone_variance(1.0, RATE_HZ, COUNT) == pytest.approx(numeric, rel=0.01)


def test_five_harmonics_for_1_s_give_the_fundamental_to_0_0054_hz():
    # Computed from the formula; Christensen and Jakobsson 2009 (formula from memory).
    variance = fundamental_variance(ORDERS, AMPLITUDES, NOISE_VARIANCE, RATE_HZ, COUNT)
    assert np.sqrt(variance) == pytest.approx(0.00542, rel=1e-3)


@pytest.mark.parametrize("rate_hz", [17.31, 41.7])
def test_the_harmonics_bound_is_the_fisher_matrixs(rate_hz):
    signal = harmonic_signal(ORDERS, RATE_HZ, COUNT)
    numeric = numeric_variance(signal, harmonic_parameters(rate_hz), NOISE_VARIANCE)
    formula = fundamental_variance(ORDERS, AMPLITUDES, NOISE_VARIANCE, RATE_HZ, COUNT)
    assert formula == pytest.approx(numeric, rel=0.01)


def test_forgetting_that_phases_are_unknown_would_be_seen():
    signal = harmonic_signal(ORDERS, RATE_HZ, COUNT)
    truth = harmonic_parameters(17.31)
    known_phase = numeric_variance(
        lambda p: signal(np.concatenate([p, truth[6:]])), truth[:6], NOISE_VARIANCE
    )
    formula = fundamental_variance(ORDERS, AMPLITUDES, NOISE_VARIANCE, RATE_HZ, COUNT)
    assert known_phase < 0.5 * formula


def test_a_chirps_rate_at_0_db_over_1_s_is_known_to_0_135_hz_per_s():
    # Computed from the formula of Djuric and Kay 1990 (formula from memory).
    assert np.sqrt(chirp_rate_variance(1.0, RATE_HZ, COUNT)) == pytest.approx(0.1351, rel=1e-3)


def test_the_chirps_bound_is_the_fisher_matrixs():
    time_s = np.arange(COUNT) / RATE_HZ

    def chirp(p):
        angle = 2 * np.pi * (p[1] * time_s + 0.5 * p[0] * time_s**2) + p[3]
        return p[2] * np.cos(angle)

    numeric = numeric_variance(chirp, np.array([31.0, 90.0, 1.0, 0.4]), NOISE_VARIANCE)
    assert chirp_rate_variance(1.0, RATE_HZ, COUNT) == pytest.approx(numeric, rel=0.01)


def test_the_likeliest_rate_scatters_as_the_bound_allows():
    rate_hz, trials = 41.7, 300
    rng = np.random.default_rng(8)
    clean = harmonic_signal(ORDERS, RATE_HZ, COUNT)(harmonic_parameters(rate_hz))
    bound = np.sqrt(fundamental_variance(ORDERS, AMPLITUDES, NOISE_VARIANCE, RATE_HZ, COUNT))
    noise = np.sqrt(NOISE_VARIANCE) * rng.standard_normal((trials, COUNT))
    found = [best_rate(clean + row, RATE_HZ, ORDERS, rate_hz, 6 * bound) for row in noise]
    scatter = np.sqrt(np.mean((np.array(found) - rate_hz) ** 2))
    # 300 trials give the scatter to 4 %; a good estimator comes within 15 % of the bound.
    assert 0.9 * bound < scatter < 1.15 * bound
