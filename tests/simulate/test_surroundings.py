"""What else is heard: it stays put while the drum's speed changes."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import welch

from spinlab.simulate.parameters import Parameters, Phone, Step, Surroundings
from spinlab.simulate.pump_sound import air_slugs
from spinlab.simulate.simulator import spin_test
from spinlab.simulate.sound_recording import at_the_microphone
from spinlab.simulate.speech import SPEECH_RATE_HZ, babble, speech
from spinlab.simulate.surroundings import fan, fill, hum, interference, knocks, pump
from spinlab.simulate.suspension import shake
from tests.simulate.machines import heard_by, smooth
from tests.simulate.measures import band, line_amplitude, power_within, rms

RATE_HZ = 16000.0
STILL = (Step(kind="rest", hold_s=20.0),)


def still(**around):
    """A machine that stands still, with these surroundings."""
    p = smooth(*STILL, surroundings=Surroundings(room_noise_db=None, **around))
    return p, heard_by(p)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_stands_at_twice_the_mains_and_its_multiples(mains_hz):
    p, base = still(mains_hz=mains_hz, mains_drift_hz=0.0)
    sound = hum(p, base)
    at = [line_amplitude(sound, base.time_s, k * mains_hz) for k in (2, 4, 6)]
    beside = line_amplitude(sound, base.time_s, 2.31 * mains_hz)
    assert min(at) > 30.0 * beside
    assert at[0] == max(at)


def test_mains_frequency_drifts_by_as_much_as_stated():
    p, base = still(mains_drift_hz=0.05)
    steady, _ = still(mains_drift_hz=0.0)
    phase = np.angle(np.exp(-2j * np.pi * 100.0 * base.time_s) * _analytic(hum(p, base)))
    fixed = np.angle(np.exp(-2j * np.pi * 100.0 * base.time_s) * _analytic(hum(steady, base)))
    inner = slice(8000, -8000)
    assert np.ptp(np.unwrap(fixed[inner])) < 0.2
    assert 0.5 < np.ptp(np.unwrap(phase[inner])) < 60.0  # 0.05 Hz for 18 s is at most 2.8 turns


def _analytic(sound):
    from scipy.signal import hilbert

    return hilbert(band(sound, RATE_HZ, 80.0, 120.0))


def test_the_pump_is_locked_to_the_mains_and_runs_only_while_it_is_on():
    p, base = still(mains_drift_hz=0.0, pump_on_s=(4.0, 12.0))
    sound = pump(p, base)
    on = (base.time_s > 5.0) & (base.time_s < 11.0)
    assert rms(sound[on]) > 0.5
    assert not sound[(base.time_s < 3.9) | (base.time_s > 12.1)].any()
    at = line_amplitude(sound[on], base.time_s[on], 100.0)
    assert at > 10.0 * line_amplitude(sound[on], base.time_s[on], 109.0)


def test_a_pump_that_draws_air_loses_its_tone_in_slugs_and_hisses_from_then_on():
    p, base = still(mains_drift_hz=0.0, pump_air=0.5, pump_air_from_s=10.0)
    full, _ = still(mains_drift_hz=0.0)
    sound, water = pump(p, base), pump(full, base)
    before, after = (base.time_s < 9.9), (base.time_s > 10.5) & (base.time_s < 19.0)
    np.testing.assert_array_equal(sound[before], water[before])
    air = air_slugs(p, base)
    assert float(air[after].mean()) == pytest.approx(0.5, abs=0.2)  # 17 slugs of each, exponential
    tone = band(sound, RATE_HZ, 90.0, 110.0)
    dry, wet = after & (air > 0.99), after & (air < 0.01)
    assert rms(tone[dry]) < 0.75 * rms(tone[wet])
    # bubbles of 0.8 to 5 mm ring between 650 and 4000 Hz (Minnaert 1933)
    hiss = band(sound, RATE_HZ, 1000.0, 3500.0)
    assert rms(hiss[dry]) > 1.3 * rms(hiss[wet])


def test_a_fan_keeps_its_own_rate():
    p, base = still(fan_hz=23.0)
    pitch, density = welch(fan(p, base), RATE_HZ, nperseg=1 << 15)
    tonal = pitch[np.argmax(density * (pitch > 40.0))]
    assert tonal / 23.0 == pytest.approx(round(tonal / 23.0), abs=0.03)


def test_water_through_the_valve_hisses_at_high_pitch():
    p, base = still(fill_on_s=(0.0, 100.0))
    sound = fill(p, base)[8000:]
    assert rms(band(sound, RATE_HZ, 1200.0, 7500.0)) > 3.0 * rms(band(sound, RATE_HZ, 50.0, 800.0))


def test_a_knock_comes_at_its_time_and_dies_away():
    _, base = still()
    sound = np.abs(knocks("slam", (7.0,), base))
    assert base.time_s[np.argmax(sound > 0.05)] == pytest.approx(7.0, abs=0.01)
    assert sound[(base.time_s > 6.0) & (base.time_s < 6.99)].max() == 0.0
    assert sound[base.time_s > 7.6].max() == 0.0
    assert sound.max() == pytest.approx(1.0, rel=1e-3)


def test_speech_has_syllables_pauses_and_a_voice():
    words = speech(np.random.default_rng(3), 30.0).astype(float)
    step = int(0.02 * SPEECH_RATE_HZ)
    frames = words[: len(words) // step * step].reshape(-1, step)
    level = np.sqrt(np.mean(frames**2, axis=1))
    assert 0.1 < np.mean(level < 0.02) < 0.7
    pitch, density = welch(level - level.mean(), 50.0, nperseg=512)
    syllables = density[(pitch > 2.0) & (pitch < 8.0)].mean()
    assert syllables > 5.0 * density[pitch > 15.0].mean()  # syllable rhythm, 2-8 Hz
    spectrum, size = welch(words, SPEECH_RATE_HZ, nperseg=1024)
    assert np.sum(size[spectrum < 4000.0]) > 0.8 * np.sum(size)


def test_babble_pauses_less_than_one_talker():
    def quiet_share(words):
        frames = words[: len(words) // 320 * 320].reshape(-1, 320)
        return np.mean(np.sqrt(np.mean(frames**2, axis=1)) < 0.1)

    one, many = speech(np.random.default_rng(3), 20.0), babble(np.random.default_rng(3), 20.0)
    assert quiet_share(many) < 0.5 * quiet_share(one)


@pytest.mark.parametrize("snr_db", [20.0, 0.0, -5.0])
def test_the_signal_to_noise_ratio_is_the_one_asked_for(snr_db):
    around = Surroundings(snr_db=snr_db, mains_hz=60.0, pump_db=-5.0, hum_db=-8.0, babble_db=-6.0)
    p = Parameters(
        programme=spin_test((600.0, 1000.0), hold_s=3.0, coast_s=1.0),
        surroundings=around,
        phone=Phone(rate_hz=16000),
    )
    base = heard_by(p)
    tub = shake(p, base.motion)
    both, stated = at_the_microphone(p, base, tub)
    alone = replace(p, surroundings=Surroundings(mains_hz=60.0, room_noise_db=None))
    machine, _ = at_the_microphone(alone, base, tub)
    fast = base.speed_hz > 5.0
    own, alien = (
        power_within(x[fast], RATE_HZ, 100.0, 7000.0) for x in (machine[0], (both - machine)[0])
    )
    assert stated == snr_db
    assert 10.0 * np.log10(own / alien) == pytest.approx(snr_db, abs=0.2)


def test_a_source_more_leaves_the_others_bit_by_bit_as_they_were():
    p, base = still(hum_db=0.0)
    more, _ = still(hum_db=0.0, pump_db=0.0)
    added = interference(more, base) - interference(p, base)
    np.testing.assert_allclose(added, pump(more, base), atol=1e-5)
