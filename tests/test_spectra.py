"""The spectrogram against scipy's own, Parseval's theorem, and its promised size."""

import numpy as np
import pytest
from scipy import signal

from spinlab.recording import Recording
from spinlab.spectra import spectrogram

RATE_HZ = 8000.0


def sound(samples, **changes):
    values = {"kind": "sound", "rate_hz": RATE_HZ} | changes
    return Recording(samples=np.atleast_2d(samples).astype(np.float32), **values)


@pytest.fixture
def noise():
    return np.random.default_rng(1).normal(0, 0.1, 16000)


def test_one_slice_of_time_equals_an_independent_welch_estimate(noise):
    rows = 400
    ours = spectrogram(sound(noise), max_hz=4000, columns=1, rows=rows)
    size = int(RATE_HZ * rows / 4000)
    starts = np.arange(0, len(noise) - size + 1, size // 2)
    picked = starts[np.linspace(0, len(starts) - 1, 8).round().astype(int)]
    frames = np.float32(noise)[picked[:, None] + np.arange(size)].astype(float)
    # scipy.signal.periodogram with "density" scaling, times the cell width, is the mean square.
    _, density = signal.periodogram(frames, RATE_HZ, window="hann", detrend="constant")
    expected = density.mean(axis=0) * RATE_HZ / size
    np.testing.assert_allclose(10 ** (ours.level_db[1:, 0] / 10), expected[1:], rtol=1e-4)


def test_the_cells_add_up_to_the_mean_square_of_the_signal(noise):
    # Parseval's theorem; 5 % is four standard errors of the mean square over these frames.
    levels = spectrogram(sound(noise), max_hz=4000).level_db
    assert np.sum(10 ** (levels / 10), axis=0).mean() == pytest.approx(0.01, rel=0.05)


def test_a_tone_stands_at_its_own_frequency_and_time():
    time_s = np.arange(0, 4, 1 / RATE_HZ)
    tone = np.where(time_s < 2, np.sin(2 * np.pi * 400 * time_s), 0)
    picture = spectrogram(sound(tone, start_s=10.0), max_hz=1000)
    row = int(np.argmax(picture.level_db[:, 0]))
    assert picture.frequency_hz[row] == pytest.approx(400, abs=picture.frequency_hz[1])
    loud = picture.level_db[row] > -20
    assert picture.time_s[loud].max() == pytest.approx(12.0, abs=0.2)
    assert picture.time_s[0] > 10.0


def test_gravity_does_not_hide_the_vibration():
    log = np.stack([np.full(2000, 9.81), np.zeros(2000)])
    picture = spectrogram(sound(log, kind="acceleration", rate_hz=100.0), max_hz=50)
    assert picture.level_db.max() < -100
    assert picture.unit == "dB re 1 m/s²"


def test_an_hour_makes_a_picture_no_larger_than_a_minute_does():
    hour = sound(np.zeros(3600 * 100), rate_hz=100.0)
    picture = spectrogram(hour, max_hz=50)
    assert picture.level_db.shape[1] <= 1200
    assert picture.level_db.shape[0] <= 401


@pytest.mark.parametrize("length", [2, 3, 5, 799])
def test_a_recording_shorter_than_one_frame_still_makes_one_column(length):
    picture = spectrogram(sound(np.ones(length)), max_hz=4000)
    assert picture.level_db.shape[1] == 1
    assert np.all(np.isfinite(picture.level_db))


def test_samples_that_are_not_finite_count_as_silence():
    samples = np.zeros(4000)
    samples[100] = np.inf
    assert np.all(np.isfinite(spectrogram(sound(samples), max_hz=4000).level_db))


def test_a_single_sample_is_refused():
    with pytest.raises(ValueError, match="two samples"):
        spectrogram(sound(np.ones(1)), max_hz=100)
