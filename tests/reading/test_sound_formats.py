"""Sound as phones store it: every format, word length, rate and number of channels."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from spinlab.reading import read
from tests.reading.clips import clicks, encode
from tests.reading.logtext import shaken, write_rows

NOISE = np.random.default_rng(3).uniform(-0.5, 0.5, size=96_000)


@pytest.mark.parametrize(
    ("name", "subtype", "bits", "error"),
    [
        ("a.wav", "PCM_U8", 8, 1 / 128),
        ("a.wav", "PCM_16", 16, 1 / 32768),
        ("a.wav", "PCM_24", 24, 2.0**-23),
        ("a.wav", "PCM_32", 32, 2.0**-24),
        ("a.wav", "FLOAT", 32, 2.0**-24),
        ("a.wav", "DOUBLE", 64, 2.0**-24),
        ("a.flac", "PCM_16", 16, 1 / 32768),
        ("a.flac", "PCM_24", 24, 2.0**-23),
        ("a.aiff", "PCM_16", 16, 1 / 32768),
        ("a.caf", "PCM_16", 16, 1 / 32768),
        ("a.w64", "PCM_24", 24, 2.0**-23),
    ],
)
def test_lossless_sound_comes_back_to_the_last_bit(
    tmp_path: Path, name: str, subtype: str, bits: int, error: float
) -> None:
    path = tmp_path / name
    soundfile.write(path, NOISE, 48_000, subtype=subtype)
    recording = read(path)
    assert recording.kind == "sound"
    assert recording.rate_hz == 48_000
    assert recording.source.bits == bits
    assert recording.remarks == ()
    np.testing.assert_allclose(recording.samples[0], NOISE, rtol=0, atol=error)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 48_000, 96_000, 192_000])
def test_the_native_rate_is_kept(tmp_path: Path, rate_hz: int) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, NOISE[: 2 * rate_hz], rate_hz) if rate_hz < 48_000 else soundfile.write(
        path, np.resize(NOISE, 2 * rate_hz), rate_hz
    )
    recording = read(path)
    assert recording.rate_hz == rate_hz
    assert recording.duration_s == pytest.approx(2.0)


@pytest.mark.parametrize("channels", [1, 2, 6, 32])
def test_every_channel_is_kept_in_its_order(tmp_path: Path, channels: int) -> None:
    path = tmp_path / "a.wav"
    levels = np.arange(1, channels + 1) / 64
    soundfile.write(path, np.tile(levels, (16_000, 1)), 8_000, subtype="FLOAT")
    recording = read(path)
    assert recording.samples.shape == (channels, 16_000)
    assert len(recording.channel_names) == channels
    np.testing.assert_array_equal(recording.samples[:, 5], levels.astype(np.float32))


@pytest.mark.parametrize(
    ("name", "codec", "rate_hz", "container"),
    [
        ("a.m4a", "aac", 44_100, None),
        ("a.m4a", "alac", 48_000, None),
        ("a.aac", "aac", 48_000, "adts"),
        ("a.mp3", "libmp3lame", 44_100, None),
        ("a.ogg", "libopus", 48_000, None),
        ("a.3gp", "libopencore_amrnb", 8_000, "3gp"),
        ("a.amr", "libopencore_amrnb", 8_000, "amr"),
        ("a.caf", "pcm_s16le", 44_100, "caf"),
        ("a.mka", "aac", 48_000, "matroska"),
    ],
)
def test_compressed_sound_is_read_at_its_own_rate(
    tmp_path: Path, name: str, codec: str, rate_hz: int, container: str | None
) -> None:
    path = encode(tmp_path / name, codec, rate_hz, clicks(rate_hz), container=container)
    recording = read(path)
    assert recording.rate_hz == rate_hz
    assert recording.duration_s == pytest.approx(6.0, abs=0.06)
    assert np.abs(recording.samples).max() > 0.2 or codec == "libopencore_amrnb"
    assert recording.remarks == ()


@pytest.mark.parametrize(
    ("name", "codec", "pictures"),
    [("v.mp4", "aac", "mpeg4"), ("v.mov", "aac", "mpeg4"), ("v.webm", "libopus", "libvpx")],
)
def test_a_video_gives_its_sound_track(
    tmp_path: Path, name: str, codec: str, pictures: str
) -> None:
    path = encode(tmp_path / name, codec, 48_000, clicks(48_000), pictures=pictures)
    recording = read(path)
    assert recording.samples.shape[0] == 1
    assert recording.duration_s == pytest.approx(6.0, abs=0.03)


@pytest.mark.parametrize("name", ["sound.mp4", "sound.csv", "sound", "sound.txt", "sound.mp3"])
def test_the_content_decides_and_not_the_name(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    soundfile.write(path, NOISE, 48_000, format="WAV", subtype="PCM_16")
    assert read(path).source.container == "WAV"


def test_a_video_named_as_a_log_is_read_as_a_video(tmp_path: Path) -> None:
    path = encode(tmp_path / "v.csv", "aac", 48_000, clicks(48_000), container="mp4")
    assert read(path).kind == "sound"


def test_tones_survive_a_common_codec_within_a_decibel(tmp_path: Path) -> None:
    """AAC at 64 kbit/s keeps tones from 25 Hz to 15 kHz within 1 dB (values from memory)."""
    time = np.arange(6 * 48_000) / 48_000
    for tone_hz in (25, 100, 1_000, 5_000, 15_000):
        tone = (0.1 * np.sin(2 * np.pi * tone_hz * time)).astype(np.float32)
        recording = read(encode(tmp_path / "a.m4a", "aac", 48_000, tone, bit_rate=64_000))
        level = recording.samples[0, 48_000:240_000].std() * np.sqrt(2)
        assert 20 * np.log10(level / 0.1) == pytest.approx(0.0, abs=1.0)


def test_the_hash_is_that_of_the_file_and_the_file_is_untouched(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, NOISE, 48_000)
    before = path.read_bytes()
    assert read(path).source.sha256 == hashlib.sha256(before).hexdigest()
    assert path.read_bytes() == before


def test_progress_rises_to_one(tmp_path: Path) -> None:
    path = encode(tmp_path / "a.m4a", "aac", 48_000, clicks(48_000))
    soundfile.write(tmp_path / "a.wav", NOISE, 48_000)
    write_rows(tmp_path / "a.csv", shaken(100.0, 20), header="t,x,y,z")
    for source in (path, tmp_path / "a.wav", tmp_path / "a.csv"):
        seen: list[float] = []
        read(source, progress=seen.append)
        assert seen == sorted(seen)
        assert seen[-1] == pytest.approx(1.0, abs=0.01)


def test_samples_that_are_no_numbers_are_bridged_or_listed_as_a_gap(tmp_path: Path) -> None:
    time = np.arange(96_000) / 48_000
    sound = 0.5 * np.sin(2 * np.pi * 50 * time)
    broken = sound.copy()
    broken[10_000:10_004] = np.nan
    broken[20_000] = np.inf
    broken[50_000:55_000] = -np.inf
    path = tmp_path / "a.wav"
    soundfile.write(path, broken, 48_000, subtype="FLOAT")
    recording = read(path)
    assert np.isfinite(recording.samples).all()
    assert "replaced: 5005" in recording.remarks[0].what
    np.testing.assert_allclose(recording.samples[0, 10_000:10_004], sound[10_000:10_004], atol=1e-4)
    assert [(gap.start_s, gap.end_s) for gap in recording.gaps] == [
        pytest.approx((50_000 / 48_000, 55_000 / 48_000))
    ]
