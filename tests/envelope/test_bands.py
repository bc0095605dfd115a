"""Many squared envelopes at once: mean one, true depth, and interference recognised."""

import numpy as np
import pytest

from spinlab.envelope.bands import (
    BandEnvelopes,
    band_envelopes,
    cell_bands,
    interference_db,
    window_samples,
    without_mains,
)
from spinlab.envelope.kurtosis import Band

RATE = 16_000.0
BANDS = (Band(low_hz=1000.0, high_hz=3000.0), Band(low_hz=4000.0, high_hz=6000.0))


def envelopes(values) -> BandEnvelopes:
    return band_envelopes(values, RATE, BANDS, start_s=2.0, window=64)


def noise(seconds=20.0, seed=31):
    return np.random.default_rng(seed).standard_normal(int(seconds * RATE)).astype(np.float32)


def time(values):
    return np.arange(len(values)) / RATE


def test_an_envelope_has_mean_one_whatever_the_level_and_its_slow_changes():
    values = noise() * np.linspace(0.01, 5.0, int(20 * RATE), dtype=np.float32)
    assert np.allclose(envelopes(values).values.mean(axis=1), 1.0, atol=0.02)


def test_modulated_noise_shows_its_modulation_depth():
    # power modulated as 1 + 0.4 cos: amplitude by the square root
    values = noise() * np.sqrt(1 + 0.4 * np.cos(2 * np.pi * 20 * time(noise())))
    found = envelopes(values)
    t = found.start_s + np.arange(found.values.shape[1]) / found.rate_hz
    for row in found.values:
        depth = 2 * np.abs(np.mean(row * np.exp(-2j * np.pi * 20 * t)))
        assert depth == pytest.approx(0.4, abs=0.04)


def test_one_slam_counts_for_little():
    values = noise()
    values[8000:8100] *= 300.0
    assert float(envelopes(values).values.max()) <= 30.0


def test_an_impact_is_found_at_its_time_on_the_files_clock():
    values = noise() * 0.01
    values[int(5.0 * RATE)] = 10.0
    found = envelopes(values)
    when = found.start_s + np.argmax(found.values[0]) / found.rate_hz
    assert when == pytest.approx(7.0, abs=0.003)


def test_two_channels_are_averaged_as_envelopes_so_opposite_signs_do_not_cancel():
    values = noise()
    both = np.stack([values, -values])
    assert np.allclose(envelopes(both).values, envelopes(values).values, atol=1e-4)


def test_a_long_stretch_in_pieces_equals_the_same_in_one():
    values = noise(50.0)
    whole = envelopes(values).values
    part = band_envelopes(values[: int(30 * RATE)], RATE, BANDS, start_s=0.0, window=64).values
    n = int(28 * RATE / 16)
    assert np.allclose(whole[:, :n], part[:, :n], rtol=1e-3, atol=1e-3)


@pytest.mark.parametrize(("mains_hz", "kept"), [(None, {97.0}), (50.0, {97.0, 120.1})])
def test_what_beats_with_the_mains_is_taken_out_and_nothing_beside_it(mains_hz, kept):
    rates_hz = (97.0, 100.1, 120.1)
    t = time(noise())
    values = noise() * np.sqrt(1 + sum(0.3 * np.cos(2 * np.pi * rate * t) for rate in rates_hz))
    found = without_mains(envelopes(values), mains_hz)
    t = np.arange(found.values.shape[1]) / found.rate_hz
    for rate_hz in rates_hz:
        depth = 2 * np.abs(np.mean(found.values[0] * np.exp(-2j * np.pi * rate_hz * t)))
        assert depth == pytest.approx(0.3 if rate_hz in kept else 0.0, abs=0.04)
    assert found.values.mean() == pytest.approx(1.0, abs=0.01)


def test_modulation_by_the_mains_is_reported():
    hum = np.sqrt(1 + 0.3 * np.cos(2 * np.pi * 100.1 * time(noise())))
    found = envelopes(noise() * hum)
    locked, _ = interference_db(found.values, found.rate_hz)
    free, _ = interference_db(envelopes(noise()).values, found.rate_hz)
    assert locked.min() > 20.0
    assert free.max() < 13.0
    other, _ = interference_db(found.values, found.rate_hz, mains_hz=60.0)
    assert other.max() < 13.0


def test_syllables_are_reported_as_slow_noise():
    rng = np.random.default_rng(5)
    knots = np.arange(0.0, 20.0, 0.12)
    speech = np.interp(time(noise()), knots, rng.uniform(0.1, 2.0, len(knots)))
    _, slow = interference_db(envelopes(noise() * speech).values, 1000.0)
    _, steady = interference_db(envelopes(noise()).values, 1000.0)
    assert slow.min() > 8.0
    assert steady.max() < 4.0


def test_too_short_a_record_tells_nothing_about_interference():
    mains, slow = interference_db(np.ones((2, 100), np.float32), 1000.0)
    assert not mains.any()
    assert not slow.any()


def test_silence_and_a_record_shorter_than_a_window_stay_finite():
    assert np.isfinite(envelopes(np.zeros(int(2 * RATE), np.float32)).values).all()
    assert envelopes(np.ones(10, np.float32)).values.shape == (2, 0)


def test_the_window_is_a_quarter_of_the_impacts_period_or_so():
    window = window_samples(48_000.0, 126.0)
    assert 0.2 <= window / 48_000.0 * 126.0 <= 0.4


def test_every_band_owns_at_least_one_cell_and_never_the_zeroth():
    ranges = cell_bands(
        [Band(low_hz=0.0, high_hz=100.0), Band(low_hz=7900.0, high_hz=8000.0)], RATE, 64
    )
    assert all(last > first >= 1 for first, last in ranges)
