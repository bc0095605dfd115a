"""Level, floor, clipping and dropouts against what was put in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from spinlab.quality import assess
from spinlab.reading import read
from tests.quality.sounds import RATE_HZ, machine, pink, sound
from tests.reading.clips import encode

TIME = np.arange(10 * RATE_HZ) / RATE_HZ
SINE = np.sin(2 * np.pi * 50 * TIME)
NOISE = np.random.default_rng(0).normal(size=10 * RATE_HZ)


def says(quality: object, words: str) -> bool:
    return any(words in remark.what for remark in quality.remarks)


def test_a_sines_level_is_its_amplitude_less_three_decibels() -> None:
    quality = assess(sound(0.5 * SINE))
    assert quality.level_dbfs == pytest.approx(20 * np.log10(0.5 / np.sqrt(2)), abs=0.01)


def test_the_level_is_that_of_the_loudest_channel() -> None:
    quality = assess(sound(np.stack([0.01 * NOISE, 0.1 * NOISE])))
    assert quality.level_dbfs == pytest.approx(-20.0, abs=0.1)


def test_the_floor_is_that_of_the_quiet_moment() -> None:
    samples = 0.1 * NOISE
    samples[: 2 * RATE_HZ] *= 0.01
    quality = assess(sound(samples))
    assert quality.noise_floor_dbfs == pytest.approx(-60.0, abs=0.5)


@pytest.mark.parametrize("limit", [1.0, 0.7, 0.2])
@pytest.mark.parametrize("excess", [1.5, 2.0, 3.0])
def test_the_clipped_share_is_what_was_clipped(limit: float, excess: float) -> None:
    samples = np.clip(NOISE * limit / excess, -limit, limit)
    truth = float(np.mean(np.abs(samples) >= limit))
    quality = assess(sound(np.round(samples * 32767) / 32768))
    assert quality.clipped_share == pytest.approx(truth, rel=0.06)
    assert says(quality, "is clipped")


def test_clipping_of_one_side_only_is_found() -> None:
    quality = assess(sound(np.minimum(0.2 * NOISE, 0.4)))
    assert quality.clipped_share == pytest.approx(np.mean(0.2 * NOISE >= 0.4), rel=0.06)


@pytest.mark.parametrize(
    "samples",
    [
        SINE,
        0.7 * SINE,
        0.7 * SINE * (1 + 0.1 * np.sin(2 * np.pi * 0.3 * TIME)) / 1.1,
        NOISE / np.abs(NOISE).max(),
        np.round(1e-3 * NOISE * 32768) / 32768,
        np.round(6e-4 * SINE * 32768) / 32768,
        sum(0.3 / k * np.cos(2 * np.pi * 100 * k * TIME) for k in range(1, 6)),
    ],
    ids=["full sine", "sine", "swelling sine", "full noise", "faint noise", "faint sine", "hum"],
)
def test_loud_faint_and_tonal_sound_is_not_called_clipped(samples: np.ndarray) -> None:
    assert assess(sound(samples)).clipped_share == 0.0


def test_clipping_before_a_lossy_codec_is_still_seen(tmp_path: Path) -> None:
    loud = np.clip(12 * machine(6, 400, 1000), -1.0, 1.0).astype(np.float32)
    truth = float(np.mean(np.abs(loud) >= 1.0))
    path = encode(tmp_path / "a.m4a", "aac", RATE_HZ, loud, bit_rate=96_000)
    # The codec's ripple pulls flat tops below full scale as well as above: a lower bound.
    assert truth / 5 < assess(read(path)).clipped_share < truth
    clean = (0.9 * loud / 12).astype(np.float32)
    path = encode(tmp_path / "b.m4a", "aac", RATE_HZ, clean, bit_rate=96_000)
    assert assess(read(path)).clipped_share == 0.0


@pytest.mark.parametrize("length_s", [0.02, 0.1, 3.0])
def test_dropouts_are_listed_where_they_are(length_s: float) -> None:
    samples = pink(45.0)
    starts = (3.0, 19.99, 40.0)
    for start in starts:
        samples[round(start * RATE_HZ) : round((start + length_s) * RATE_HZ)] = 0.0
    quality = assess(sound(samples))
    assert [gap.start_s for gap in quality.dropouts] == pytest.approx(starts, abs=0.01)
    ends = [gap.end_s - gap.start_s for gap in quality.dropouts]
    assert ends == pytest.approx([length_s] * 3, abs=0.011)
    assert says(quality, "nothing recorded: 3")


def test_silence_in_one_of_two_channels_is_no_dropout() -> None:
    assert assess(sound(np.stack([pink(10.0), np.zeros(10 * RATE_HZ)]))).dropouts == ()


def test_floats_in_another_unit_than_full_scale_are_said() -> None:
    quality = assess(sound(3000 * NOISE, bits=32))
    assert says(quality, "times full scale")
    assert quality.clipped_share == 0.0


@pytest.mark.parametrize("level", [0.0, 1e-6])
def test_a_silent_recording_is_unusable_and_says_so(level: float) -> None:
    quality = assess(sound(level * NOISE))
    assert not quality.usable
    assert "is silent" in quality.reason
    assert quality.remarks[-1].consequence == "Nothing can be concluded from it."


def test_a_recording_that_is_nearly_all_dropout_is_unusable() -> None:
    samples = 0.1 * NOISE
    samples[RATE_HZ // 2 :] = 0.0
    assert "hold nothing" in assess(sound(samples)).reason
