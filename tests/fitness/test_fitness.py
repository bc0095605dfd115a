"""Fitness of a take, and advice for a better one: each limit is named with its number."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.fitness import better_take, fitness
from spinlab.machine import load_machine
from spinlab.quality.value import Quality
from spinlab.recording import Gap
from tests.invented import invented_track

SOUND = Quality(
    kind="sound",
    duration_s=120.0,
    rate_hz=48000.0,
    rate_standard_uncertainty_hz=2.4,
    usable_band_hz=(20.0, 16000.0),
    level_dbfs=-25.0,
    noise_floor_dbfs=-60.0,
)
LOG = Quality(
    kind="acceleration",
    duration_s=120.0,
    rate_hz=200.0,
    rate_standard_uncertainty_hz=0.01,
    usable_band_hz=(0.1, 100.0),
    level_m_s2=2.0,
    noise_floor_m_s2=0.01,
)


def states(quality, machine=None):
    return {fit.purpose: fit.fitness for fit in fitness(quality, machine)}


def test_a_good_sound_is_fit_for_all_that_sound_can_tell():
    assert states(SOUND) == {
        "drum speed and stages": "fit",
        "bearings": "fit",
        "belt and motor": "fit",
        "imbalance and suspension": "not fit",
    }
    assert better_take(SOUND) == ()


def test_a_good_log_is_fit_for_speed_and_shaking_only():
    assert states(LOG) == {
        "drum speed and stages": "fit",
        "bearings": "not fit",
        "belt and motor": "not fit",
        "imbalance and suspension": "fit",
    }
    assert better_take(LOG) == ()


def test_telephone_sound_is_not_fit_for_bearings():
    # ITU-T G.712: a telephone channel ends at 3.4 kHz (value from memory).
    call = replace(SOUND, usable_band_hz=(300.0, 3400.0))
    assert states(call)["bearings"] == "not fit"
    assert states(call)["belt and motor"] == "limited"
    advice = better_take(call)
    assert any("no call, no voice message" in one.do for one in advice)
    assert any("3400 Hz" in one.because for one in advice)


@pytest.mark.parametrize(
    ("changes", "do", "because"),
    [
        ({"clipped_share": 0.01}, "half a metre further away", "1.00% of the samples"),
        ({"speech_share": 0.2}, "Keep silent", "20% of the time"),
        ({"gain_swing_db": 9.0}, "automatic gain", "9 dB"),
        ({"noise_suppression": "suspected"}, "noise suppression", "thinned out"),
        ({"level_dbfs": -70.0, "noise_floor_dbfs": -90.0}, "folded cloth", "-70 dB"),
        ({"usable_band_hz": (150.0, 16000.0)}, "microphone", "150 Hz"),
        ({"duration_s": 20.0}, "Start before the drum starts", "20 s"),
        ({"noise_floor_dbfs": -28.0}, "Start before the drum starts", "no quiet moment"),
        ({"dropouts": (Gap(start_s=1, end_s=2, reason=""),)}, "Close other apps", "1 of them"),
    ],
)
def test_each_flaw_of_a_sound_has_its_own_advice_and_number(changes, do, because):
    (advice,) = better_take(replace(SOUND, **changes))
    assert do in advice.do
    assert because in advice.because


@pytest.mark.parametrize(
    ("changes", "do", "because"),
    [
        ({"rate_hz": 50.0, "usable_band_hz": (0.1, 25.0)}, "fastest rate", "50 samples a second"),
        ({"clipped_share": 0.02}, "wider sensor range", "2.00% of the rows"),
        ({"held_share": 0.5}, "sensor's own", "50% of the rows"),
        ({"jitter_s": 0.004}, "screen on", "4.0 ms"),
    ],
)
def test_each_flaw_of_a_log_has_its_own_advice_and_number(changes, do, because):
    (advice,) = better_take(replace(LOG, **changes))
    assert do in advice.do
    assert because in advice.because


def test_a_log_must_be_twice_as_fast_as_this_machine_turns():
    slow = replace(LOG, rate_hz=40.0, usable_band_hz=(0.1, 20.0))
    # 20 Hz are 1200 rpm (sampling theorem, Shannon 1949): enough for one machine, not the other.
    assert states(slow, load_machine("belt-brushed-1000"))["drum speed and stages"] == "fit"
    assert states(slow, load_machine("belt-brushed-1400"))["drum speed and stages"] == "limited"
    very = replace(LOG, rate_hz=10.0, usable_band_hz=(0.1, 5.0))
    assert states(very)["drum speed and stages"] == "not fit"
    assert states(very)["imbalance and suspension"] == "not fit"


def test_what_cannot_be_used_is_fit_for_nothing_and_says_why():
    silent = replace(SOUND, usable=False, reason="The recording is silent: record again.")
    assert {(fit.fitness, fit.reason) for fit in fitness(silent)} == {
        ("not fit", "The recording is silent: record again.")
    }
    assert better_take(silent)[0].because == "The recording is silent: record again."


def test_a_drum_cut_off_at_either_end_is_seen_in_the_track():
    track = invented_track()
    profile = load_machine("belt-brushed-1400")
    assert better_take(SOUND, track, profile) == ()
    half = slice(200, 1000)  # 20 s to 100 s: the drum turns at 400 and at 1331 rpm

    def cut(values):
        return values[half]

    middle = replace(
        track,
        **{
            name: cut(getattr(track, name))
            for name in (
                "time_s",
                "speed_rpm",
                "standard_uncertainty_rpm",
                "confidence",
                "motion",
                "carried_by",
            )
        },
    )
    start, end = better_take(SOUND, middle, profile)
    assert start.do.startswith("Start recording some seconds before")
    assert end.do.startswith("Keep recording until")
    assert "1331 rpm" in end.because or "1332 rpm" in end.because


def test_a_patchy_track_asks_for_a_better_place():
    track = invented_track()
    speed = np.array(track.speed_rpm)
    speed[300:700] = np.nan
    (advice,) = better_take(
        SOUND, replace(track, speed_rpm=speed), load_machine("belt-brushed-1400")
    )
    assert "rear of the machine" in advice.do
