"""What the phone and the people near it did: gain control, noise suppression, speech."""

from __future__ import annotations

import numpy as np
import pytest

from spinlab.quality import assess
from tests.quality.sounds import (
    RATE_HZ,
    gain_controlled,
    knocks,
    machine,
    pink,
    sound,
    speech,
    thinned,
)


@pytest.mark.parametrize("decay_s", [0.02, 0.1])
def test_a_background_that_falls_at_every_knock_is_automatic_gain(decay_s: float) -> None:
    quality = assess(sound(gain_controlled(pink(40) / 3 + knocks(40, 12, decay_s=decay_s))))
    assert quality.gain_swing_db is not None
    assert quality.gain_swing_db > 5
    assert "the background falls" in quality.gain_evidence
    assert any("changes its gain" in remark.what for remark in quality.remarks)


@pytest.mark.parametrize(
    "samples",
    [
        pink(40) / 3 + knocks(40, 12),
        pink(40) / 3 + knocks(40, 12, decay_s=0.25),
        machine(40, 400, 1200) / 3 + knocks(40, 12),
        machine(40, 1200, 300) / 3 + knocks(40, 12),
        pink(40) * (1 + 0.8 * np.sign(np.sin(2 * np.pi * 0.4 * np.arange(40 * RATE_HZ) / RATE_HZ))),
    ],
    ids=["knocks", "knocks in a hall", "running up", "running down", "tumbling"],
)
def test_knocks_and_machines_without_gain_control_show_none(samples: np.ndarray) -> None:
    assert not assess(sound(samples / np.abs(samples).max())).gain_swing_db


def test_without_onsets_gain_control_cannot_be_told_and_the_reason_is_given() -> None:
    quality = assess(sound(machine(20, 800, 800)))
    assert quality.gain_swing_db is None
    assert "at least 3 are needed" in quality.gain_evidence


def test_noise_leaves_as_many_holes_as_its_distribution_says() -> None:
    """P(power < 10^-2.5 of the median) = 1 - exp(-ln 2 / 10^2.5) = 0.219 % (exponential law)."""
    holes = assess(sound(pink(60))).spectral_holes
    assert holes == pytest.approx(1 - np.exp(-np.log(2) * 10**-2.5), rel=0.1)


@pytest.mark.parametrize("depth", [0.0, 0.3])
def test_thinned_out_noise_is_suspected_and_a_machine_is_not(depth: float) -> None:
    clean = machine(20, 400, 1000, depth=depth)
    assert assess(sound(clean)).noise_suppression == "not seen"
    quality = assess(sound(thinned(clean)))
    assert quality.noise_suppression == "suspected"
    assert any("thinned out" in remark.what for remark in quality.remarks)


@pytest.mark.parametrize("pitch_hz", [100.0, 130.0, 210.0])
def test_speech_alone_is_speech(pitch_hz: float) -> None:
    samples = speech(20, pitch_hz=pitch_hz) + pink(20, level=1e-3)
    share = assess(sound(samples)).speech_share
    assert share is not None
    assert share > 0.8


@pytest.mark.parametrize("ratio_db", [10.0, 3.0])
def test_speech_over_a_machine_is_found_where_it_is(ratio_db: float) -> None:
    samples = machine(40, 400, 800)
    voice = speech(12)
    voice *= samples.std() / voice.std() * 10 ** (ratio_db / 20)
    samples[10 * RATE_HZ : 22 * RATE_HZ] += voice
    quality = assess(sound(samples / np.abs(samples).max()))
    assert quality.speech_share == pytest.approx(12 / 40, abs=0.1)
    assert any("speak" in remark.what for remark in quality.remarks)


@pytest.mark.parametrize("depth", [0.1, 0.3, 0.6])
@pytest.mark.parametrize(
    ("first_rpm", "last_rpm", "ratio"),
    [(180, 400, 10.0), (300, 300, 12.3), (400, 400, 1.0), (400, 800, 10.0), (400, 1400, 12.3)],
)
def test_a_machines_own_modulation_at_the_rate_of_syllables_is_no_speech(
    first_rpm: float, last_rpm: float, ratio: float, depth: float
) -> None:
    samples = machine(30, first_rpm, last_rpm, depth=depth, ratio=ratio)
    assert assess(sound(samples)).speech_share == 0.0


def test_knocks_at_the_rate_of_syllables_are_no_speech() -> None:
    assert assess(sound(pink(30) + knocks(30, 120))).speech_share == 0.0


def test_below_the_telephone_band_speech_cannot_be_told() -> None:
    assert assess(sound(pink(20), rate_hz=4_000)).speech_share is None
