"""Pre-whitening takes out what can be foretold and leaves impacts standing."""

import numpy as np
import pytest
from scipy.signal import lfilter

from spinlab.envelope.whitening import (
    cepstrum_prewhitened,
    line_limited,
    linear_prediction_residual,
)

RATE = 16_000.0


def noise(seconds=4.0, seed=21):
    return np.random.default_rng(seed).standard_normal(int(seconds * RATE))


def level_db(values, frequency_hz):
    window = np.hanning(len(values))
    t = np.arange(len(values)) / RATE
    line = np.abs(np.sum(values * window * np.exp(-2j * np.pi * frequency_hz * t)))
    return 20 * np.log10(line / np.sqrt(np.sum(window**2)) / np.std(values))


def test_cepstrum_prewhitening_leaves_every_line_with_magnitude_one():
    # Borghesani et al. 2013: all quefrencies but the zeroth set to zero
    lines = np.abs(np.fft.rfft(cepstrum_prewhitened(noise())))
    assert np.allclose(lines, 1.0, rtol=1e-9)


def test_cepstrum_prewhitening_agrees_with_an_independent_library():
    # openconmo 0.0.6 (MIT), cepstrum_prewhitening, run in an environment of its own on
    # sin(0.9 k) + 0.3 sin(2.2 k^1.1) (k = 0 .. 7): its output divided by its standard deviation
    k = np.arange(8.0)
    reference = [
        -0.5830343,
        1.6468284,
        0.5565795,
        1.785142,
        -0.4796959,
        -1.2102931,
        0.5061507,
        0.8020385,
    ]
    found = cepstrum_prewhitened(np.sin(0.9 * k) + 0.3 * np.sin(2.2 * k**1.1))
    assert np.allclose(found / np.std(found), reference, atol=1e-6)


def test_linear_prediction_gives_back_the_innovation_of_an_autoregressive_process():
    innovation = noise()
    process = lfilter([1.0], [1.0, -1.6, 0.81], innovation)
    residual = linear_prediction_residual(process, order=2)
    assert np.corrcoef(residual[10:], innovation[10:])[0, 1] > 0.999


def test_linear_prediction_takes_a_tone_down_and_leaves_clicks():
    clicks = np.zeros(int(4 * RATE))
    clicks[::1600] = 8.0
    tone = 5 * np.sin(2 * np.pi * 1000 * np.arange(len(clicks)) / RATE)
    residual = linear_prediction_residual(noise() + clicks + tone, order=100)
    assert level_db(residual, 1000.0) < level_db(noise() + clicks + tone, 1000.0) - 15
    assert (
        np.corrcoef(residual[200:], clicks[200:])[0, 1]
        > 0.8 * np.corrcoef((noise() + clicks)[200:], clicks[200:])[0, 1]
    )


def test_line_limiting_takes_a_tone_down_to_its_vicinity():
    tone = 5 * np.sin(2 * np.pi * 3000 * np.arange(int(4 * RATE)) / RATE)
    before, after = (
        level_db(noise() + tone, 3000.0),
        level_db(line_limited(noise() + tone, RATE), 3000.0),
    )
    assert after < before - 15


def test_line_limiting_leaves_white_noise_as_it_is():
    values = noise()
    after = line_limited(values, RATE)
    assert np.corrcoef(values, after)[0, 1] > 0.97
    assert float(np.std(after)) == pytest.approx(1.0, abs=0.05)


def test_line_limiting_flattens_a_resonance():
    loud = lfilter([1.0], [1.0, -1.2, 0.9], noise())
    spectrum = np.abs(np.fft.rfft(line_limited(loud, RATE))) ** 2
    levels = 10 * np.log10([np.mean(part) for part in np.array_split(spectrum[50:-50], 20)])
    assert float(np.ptp(levels)) < 2.0


@pytest.mark.parametrize("values", [np.zeros(20_000), np.full(20_000, 0.3), np.ones(3)])
def test_silence_and_short_records_stay_finite(values):
    assert np.isfinite(line_limited(values, RATE)).all()
    assert len(line_limited(values, RATE)) == len(values)
    if len(values) > 300:
        assert np.isfinite(linear_prediction_residual(values)).all()


@pytest.mark.parametrize("swell_hz", [2.6, 4.0, 8.0])
def test_noise_that_swells_with_a_cage_goes_on_swelling(swell_hz):
    # 0.4 of a turn at 400 to 1200 rpm: its depth comes out as it went in
    values = noise(seconds=20.0)
    phase = 2 * np.pi * swell_hz * np.arange(len(values)) / RATE
    whitened = line_limited((1.0 + 0.2 * np.cos(phase)) * values, RATE)
    power = whitened**2 / np.mean(whitened**2)
    depth = 2.0 * np.abs(np.mean(power * np.exp(-1j * phase)))
    # the square of 1 + m cos has depth 2 m / (1 + m^2 / 2)
    assert depth == pytest.approx(0.4 / 1.02, rel=0.12)
