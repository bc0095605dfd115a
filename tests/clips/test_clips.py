"""Clips: what is heard is what the words name, and nothing that was not recorded."""

import numpy as np
import pytest
from scipy.signal import periodogram

from spinlab.clips import Clip, clips, heard
from spinlab.clips.make import MOST_GAIN_DB, PEAK
from spinlab.finding import Finding
from spinlab.recording import Recording
from spinlab.speed.track import SpeedTrack
from tests.invented import make_invented, make_nothing_known

RATE_HZ = 16000.0
SECONDS = 12.0


@pytest.fixture(scope="module")
def ramp():
    """A drum that speeds up from 600 to 1200 rpm, by formula, and its turns in closed form."""
    time_s = np.arange(0, SECONDS, 0.05)
    speed = 600.0 + 50.0 * time_s
    track = SpeedTrack(
        time_s=time_s,
        speed_rpm=speed,
        standard_uncertainty_rpm=np.full(len(time_s), 0.5),
        confidence=np.ones(len(time_s)),
        motion=np.full(len(time_s), "ramp", dtype="U12"),
        carried_by=np.full(len(time_s), "drum orders"),
    )
    return track


def turns(time_s):
    """Integral of (600 + 50 t) / 60."""
    return 10.0 * time_s + 25.0 * time_s**2 / 60.0


@pytest.fixture(scope="module")
def sound():
    """Orders 10 and 14 of that drum, equally loud, a hum at 300 Hz, and noise."""
    time_s = np.arange(0, SECONDS, 1 / RATE_HZ)
    rng = np.random.default_rng(11)
    samples = (
        0.05 * np.sin(2 * np.pi * 10 * turns(time_s))
        + 0.05 * np.sin(2 * np.pi * 14 * turns(time_s))
        + 0.05 * np.sin(2 * np.pi * 300 * time_s)
        + rng.normal(0, 0.005, len(time_s))
    )
    return Recording(kind="sound", samples=samples[np.newaxis].astype(np.float32), rate_hz=RATE_HZ)


def clip(**changes):
    return Clip(**({"name": "x", "words": "x", "start_s": 2.0, "end_s": 8.0} | changes))


def share_of(samples, pattern):
    """Share of the power that a unit sinusoid of that phase carries (projection)."""
    part = samples * np.exp(-1j * pattern)
    return 2 * np.abs(part.mean()) ** 2 / np.mean(samples**2)


def test_a_clip_that_follows_an_order_holds_that_order_and_not_its_neighbours(ramp, sound):
    made = heard(sound, ramp, clip(order=10.0))
    time_s = 2.0 + np.arange(len(made.samples)) / RATE_HZ
    assert share_of(made.samples, 2 * np.pi * 10 * turns(time_s)) > 0.95
    assert share_of(made.samples, 2 * np.pi * 14 * turns(time_s)) < 1e-4
    assert share_of(made.samples, 2 * np.pi * 300 * time_s) < 1e-3


def test_a_clip_of_a_band_holds_the_band(ramp, sound):
    made = heard(sound, ramp, clip(band_hz=(290.0, 310.0), start_s=9.0, end_s=12.0))
    frequency, power = periodogram(made.samples, RATE_HZ)
    inside = (frequency > 285) & (frequency < 315)
    assert power[inside].sum() / power.sum() > 0.99


def test_a_slow_clip_keeps_every_sample_and_lowers_their_rate(ramp, sound):
    quick, slow = (heard(sound, ramp, clip(pace=pace)) for pace in (1.0, 0.25))
    np.testing.assert_array_equal(quick.samples, slow.samples)
    assert slow.rate_hz == quick.rate_hz / 4


def test_what_is_unfiltered_is_the_recording_but_for_its_gain(ramp, sound):
    made = heard(sound, ramp, clip())
    original = sound.cut(2.0, 8.0).samples[0]
    middle = slice(2000, -2000)
    gain = 10 ** (made.gain_db / 20)
    np.testing.assert_allclose(made.samples[middle], gain * original[middle], rtol=1e-5, atol=1e-6)


def test_silence_is_not_raised_without_end(ramp):
    faint = np.full((1, int(SECONDS * RATE_HZ)), 1e-6, dtype=np.float32)
    made = heard(Recording(kind="sound", samples=faint, rate_hz=RATE_HZ), ramp, clip())
    assert made.gain_db == pytest.approx(MOST_GAIN_DB)
    loud = np.full((1, int(SECONDS * RATE_HZ)), 1.0, dtype=np.float32)
    made = heard(Recording(kind="sound", samples=loud, rate_hz=RATE_HZ), ramp, clip())
    assert np.abs(made.samples).max() == pytest.approx(PEAK)


@pytest.mark.parametrize("rate_hz", [200.0, 8000.0])
@pytest.mark.parametrize("changes", [{"order": 10.0}, {"band_hz": (7000.0, 9000.0)}, {}])
def test_a_blink_or_a_slow_recording_makes_no_error(ramp, rate_hz, changes):
    samples = np.full((2, 20), np.nan, dtype=np.float32)
    recording = Recording(kind="sound", samples=samples, rate_hz=rate_hz)
    made = heard(recording, ramp, clip(start_s=0.0, end_s=3.0, **changes))
    assert np.isfinite(made.samples).all()


def test_a_worn_bearing_is_heard_in_its_band_slowed_until_the_knocks_can_be_told():
    stages = [
        {"start_s": 40.0, "end_s": 50.0, "motion": "plateau", "speed_rpm": 800.0, "snr_db": 9.0},
        {"start_s": 90.0, "end_s": 104.0, "motion": "plateau", "speed_rpm": 1331.0, "snr_db": 20.0},
    ]
    finding = Finding(
        kind="bearing",
        subject="rear drum bearing, outer race",
        state="fault",
        evidence={"order": 3.573, "band_hz": [2000.0, 4000.0], "stages": stages},
    )
    first = clips(make_invented().but(findings=(finding,)))[0]
    assert first.finding == 0
    assert first.band_hz == (2000.0, 4000.0)
    assert 90.0 <= first.start_s < first.end_s <= 104.0
    # 3.573 knocks a turn at 1331 rpm are 79.3 a second; at a quarter of the pace, 19.8.
    assert "20 knocks a second, 3.57 for each turn" in first.words


def test_names_are_unlike_each_other_and_fit_for_files():
    names = [one.name for one in clips(make_invented())]
    assert names
    assert len(set(names)) == len(names)
    assert all(set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-") for name in names)


def test_a_log_and_a_drum_of_unknown_speed_offer_nothing_to_hear():
    assert clips(make_nothing_known()) == ()
