"""The kurtogram finds the band in which impacts ring."""

import numpy as np
import pytest

from spinlab.envelope.kurtosis import (
    Band,
    band_tree,
    complex_envelope,
    excess_kurtosis,
    fast_kurtogram,
)

RATE = 16_384.0


def ringing_noise(centre_hz, seed=7):
    """Impacts 15 times a second that ring at one frequency, in white noise."""
    rng = np.random.default_rng(seed)
    values = rng.standard_normal(2**16)
    k = np.arange(400)
    ring = 3.0 * np.exp(-k / 40.0) * np.sin(2 * np.pi * centre_hz / RATE * k)
    for start in range(0, 2**16 - 400, round(RATE / 15.0)):
        values[start : start + 400] += ring
    return values


@pytest.mark.parametrize(
    ("centre_hz", "reference_hz"),
    # openconmo 0.0.6 (MIT), fast_kurtogram(x, fs, nlevel=5), run in an environment of its own on
    # these very signals (numpy 2.4.6): centre of its best band
    [(3000.0, 2944.0), (5200.0, 5248.0), (1700.0, 1664.0)],
)
def test_the_best_band_holds_the_resonance_and_an_independent_librarys_choice(
    centre_hz, reference_hz
):
    best = fast_kurtogram(ringing_noise(centre_hz), RATE, least_width_hz=256.0).best
    assert best.low_hz <= centre_hz <= best.high_hz
    assert best.low_hz <= reference_hz <= best.high_hz


def test_noise_has_kurtosis_zero_and_a_tone_minus_one():
    # Antoni 2007: excess kurtosis of the complex envelope
    rng = np.random.default_rng(3)
    whole = Band(low_hz=2000.0, high_hz=6000.0)
    envelope, _ = complex_envelope(rng.standard_normal(2**17), RATE, whole)
    assert excess_kurtosis(envelope) == pytest.approx(0.0, abs=0.05)
    tone = np.sin(2 * np.pi * 4000 * np.arange(2**16) / RATE)
    envelope, _ = complex_envelope(tone, RATE, whole)
    assert excess_kurtosis(envelope[200:-200]) == pytest.approx(-1.0, abs=0.01)


def test_a_bands_envelope_carries_twice_the_bands_mean_square():
    rng = np.random.default_rng(4)
    envelope, rate = complex_envelope(
        rng.standard_normal(2**17), RATE, Band(low_hz=2000.0, high_hz=6000.0)
    )
    assert float(np.mean(np.abs(envelope) ** 2)) == pytest.approx(2 * 4000 / (RATE / 2), rel=0.06)
    assert rate > 2 * 4000


def test_the_tree_splits_a_range_into_equal_parts_down_to_the_least_width():
    tree = band_tree(1000.0, 13_000.0, least_width_hz=2500.0)
    assert [round(b.width_hz) for b in tree] == [12000, 6000, 6000, 4000, 4000, 4000] + [3000] * 4
    assert min(b.low_hz for b in tree) == 1000.0
    assert max(b.high_hz for b in tree) == 13_000.0


def test_silence_has_no_kurtosis():
    kurtogram = fast_kurtogram(np.zeros(4096), RATE, least_width_hz=1000.0)
    assert np.all(kurtogram.kurtosis == 0.0)
