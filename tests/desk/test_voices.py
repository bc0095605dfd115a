"""What others than support hear holds no speech, and still the drum."""

import numpy as np
import pytest

from spinlab.desk.voices import without_speech
from spinlab.recording import Recording, Source

# Centres of the one-third octaves of ANSI S3.5-1997, table 3 (value from memory); the preferred
# frequencies themselves are those of ISO 266.
BANDS_HZ = (
    160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300,
    8000,
)  # fmt: skip
SECONDS = 4.0


def tone(frequency_hz, rate_hz, *, seconds=SECONDS):
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    samples = 0.5 * np.sin(2 * np.pi * frequency_hz * time_s)[None].astype(np.float32)
    return Recording(kind="sound", samples=samples, rate_hz=rate_hz)


def gain_db(frequency_hz, rate_hz):
    """Level of what is left, in the middle, where the filter has filled."""
    before = tone(frequency_hz, rate_hz).samples[0]
    after = without_speech(tone(frequency_hz, rate_hz)).samples[0]
    middle = slice(after.size // 4, 3 * after.size // 4)
    return 10 * np.log10(np.mean(after[middle] ** 2) / np.mean(before[middle] ** 2))


@pytest.mark.parametrize("rate_hz", [8000.0, 16000.0, 44100.0, 48000.0])
@pytest.mark.parametrize("frequency_hz", BANDS_HZ)
def test_every_band_that_carries_speech_is_stopped_by_60_db(frequency_hz, rate_hz):
    if frequency_hz >= rate_hz / 2:
        pytest.skip("the recording holds no such frequency")
    assert gain_db(frequency_hz, rate_hz) < -60


@pytest.mark.parametrize("frequency_hz", [6.67, 13.3, 20.0, 23.3, 50.0, 100.0, 11000.0])
def test_the_drums_turning_the_mains_and_hiss_stay_as_they_were(frequency_hz):
    assert abs(gain_db(frequency_hz, 48000.0)) < 0.1


def test_nothing_moves_in_time():
    rate_hz = 16000.0
    samples = np.zeros((1, 64000), dtype=np.float32)
    samples[0, 40000:] = np.sin(2 * np.pi * 20 * np.arange(24000) / rate_hz)
    left = without_speech(Recording(kind="sound", samples=samples, rate_hz=rate_hz)).samples[0]
    lag = np.argmax(np.correlate(left[30000:60000], samples[0, 30000:60000], "same")) - 15000
    assert abs(lag) <= 1


def test_blocks_join_without_a_seam():
    from spinlab.desk import voices

    rng = np.random.default_rng(7)
    samples = rng.normal(0, 0.1, (2, 90000)).astype(np.float32)
    recording = Recording(kind="sound", samples=samples, rate_hz=16000.0)
    from scipy.signal import fftconvolve

    taps = voices._filter(16000.0)
    whole = fftconvolve(samples[1].astype(float), taps, mode="same")
    np.testing.assert_allclose(without_speech(recording).samples[1], whole, atol=1e-6)


def test_the_copy_does_not_tell_where_it_came_from():
    source = Source(file="Elm Street.m4a", sha256="ab" * 32, container="mp4", codec="aac")
    recording = Recording(
        kind="sound", samples=np.zeros((1, 16000), np.float32), rate_hz=16000.0, source=source
    )
    copy = without_speech(recording)
    assert copy.source == Source(file="recording", sha256="")
    assert "speech" in copy.remarks[-1].what


def test_a_log_of_acceleration_only_loses_its_name():
    samples = np.ones((3, 1000), np.float32)
    log = Recording(
        kind="acceleration",
        samples=samples,
        rate_hz=100.0,
        source=Source(file="x.csv", sha256="ab" * 32),
    )
    copy = without_speech(log)
    assert np.array_equal(copy.samples, samples)
    assert copy.source.file == "recording"


def test_samples_that_are_no_number_do_not_spread():
    samples = np.full((1, 32000), np.nan, np.float32)
    recording = Recording(kind="sound", samples=samples, rate_hz=16000.0)
    assert np.all(np.isfinite(without_speech(recording).samples))
