"""Input that cannot be used: one clear sentence, the right class, nothing left behind."""

from __future__ import annotations

import os
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from spinlab.errors import InputError
from spinlab.reading import read
from tests.reading.clips import clicks, encode
from tests.reading.logtext import shaken, write_rows

NOISE = np.random.default_rng(3).uniform(-0.5, 0.5, size=96_000)


def refused(path: Path | str, *, match: str, **options: object) -> str:
    with pytest.raises(InputError, match=match) as caught:
        read(path, **options)
    sentence = str(caught.value)
    assert caught.value.exit_code == 20
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert sentence.isprintable()
    return sentence


@pytest.mark.parametrize("name", ["empty.wav", "empty.csv", "empty.mp4"])
def test_an_empty_file_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / name).touch()
    refused(tmp_path / name, match="is empty: copy it again")


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    refused(tmp_path / "none.wav", match="does not exist: check the path")


def test_a_directory_is_refused(tmp_path: Path) -> None:
    refused(tmp_path, match="is a folder: name one recording in it")


def test_a_device_is_refused_before_a_byte_is_read() -> None:
    refused("/dev/zero", match="is no ordinary file")


def test_a_pipe_is_refused_without_waiting_for_a_writer(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    refused(tmp_path / "pipe.wav", match="is no ordinary file")


@pytest.mark.parametrize(
    "text",
    [
        "These are notes about a machine that I wanted to record, and never did.\n" * 9,
        "# a heading\n\n1. first\n2. second\n",
        "<html><body><p>404</p></body></html>",
        '{"error": "not found", "code": 404}',
        "a,b,c\nd,e,f\n",
        "Grüße aus der Werkstatt\n",
    ],
)
@pytest.mark.parametrize("name", ["notes.wav", "notes.csv", "notes.mp4"])
def test_a_text_file_that_holds_no_log_is_refused_whatever_its_name(
    tmp_path: Path, name: str, text: str
) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    sentence = refused(tmp_path / name, match="is text without a table|holds only|no time column")
    assert len(sentence) < 300


def test_a_playlist_is_text_and_opens_nothing_else(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "other.wav", NOISE, 48_000)
    (tmp_path / "list.wav").write_text(f"#EXTM3U\n#EXTINF:2,\n{tmp_path / 'other.wav'}\n")
    refused(tmp_path / "list.wav", match="is text without a table")


@pytest.mark.parametrize("name", ["noise.wav", "noise.mp3", "noise.mp4", "noise.csv"])
def test_random_bytes_are_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(np.random.default_rng(0).bytes(200_000))
    refused(tmp_path / name, match="holds no sound or acceleration that can be read")


def test_a_file_of_zero_bytes_is_refused(tmp_path: Path) -> None:
    (tmp_path / "zeros.wav").write_bytes(bytes(100_000))
    refused(tmp_path / "zeros.wav", match="holds no sound or acceleration that can be read")


def test_a_single_sample_is_refused(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "one.wav", NOISE[:1], 48_000)
    refused(tmp_path / "one.wav", match=r"lasts only 0\.000 s \(samples: 1\): at least 1 s")


def test_a_header_without_sound_is_refused(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "none.wav", NOISE[:0], 48_000)
    refused(tmp_path / "none.wav", match="holds no sound")


def test_a_picture_without_sound_is_refused_and_says_so(tmp_path: Path) -> None:
    import av

    path = tmp_path / "silent.mp4"
    with av.open(str(path), "w") as out:
        video = out.add_stream("mpeg4", rate=10)
        video.width, video.height, video.pix_fmt = 64, 64, "yuv420p"
        for k in range(30):
            frame = av.VideoFrame.from_ndarray(np.full((64, 64, 3), k, np.uint8), format="rgb24")
            out.mux(video.encode(frame))
        out.mux(video.encode(None))
    refused(path, match="it has no sound track: record with the microphone on")


def test_a_video_that_was_never_finished_says_so(tmp_path: Path) -> None:
    path = encode(tmp_path / "v.mp4", "aac", 48_000, clicks(48_000), pictures="mpeg4")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    refused(path, match="its index is missing, as when a phone stops before")


@pytest.mark.parametrize(
    ("name", "subtype"),
    [("a.wav", "PCM_16"), ("a.flac", "PCM_16"), ("a.ogg", "VORBIS"), ("a.aiff", "PCM_16")],
)
def test_a_truncated_sound_is_read_as_far_as_it_goes_and_says_so(
    tmp_path: Path, name: str, subtype: str
) -> None:
    path = tmp_path / name
    soundfile.write(path, np.tile(NOISE, 3), 48_000, subtype=subtype)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    recording = read(path)
    assert 1.5 < recording.duration_s < 4.0
    assert any("breaks off" in r.what or "closing page" in r.what for r in recording.remarks)


@pytest.mark.parametrize(
    ("name", "codec", "container"),
    [("v.mkv", "aac", "matroska"), ("v.webm", "libopus", "webm"), ("a.mp3", "libmp3lame", "mp3")],
)
def test_a_truncated_stream_is_read_as_far_as_it_goes_and_says_so(
    tmp_path: Path, name: str, codec: str, container: str
) -> None:
    path = encode(tmp_path / name, codec, 48_000, clicks(48_000), container=container)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    recording = read(path)
    assert 1.0 < recording.duration_s < 5.0
    assert any("breaks off" in remark.what for remark in recording.remarks)


@pytest.mark.parametrize("size", [0, 1_000_000_000, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF])
def test_an_absurd_size_in_the_header_neither_stops_nor_fills_the_memory(
    tmp_path: Path, size: int
) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, NOISE, 48_000)
    data = bytearray(path.read_bytes())
    assert data[36:40] == b"data"
    data[4:8] = data[40:44] = struct.pack("<I", size)
    path.write_bytes(data)
    assert read(path).duration_s == pytest.approx(2.0, abs=0.01)


def test_absurd_channels_and_rates_in_the_header_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, NOISE, 48_000)
    data = bytearray(path.read_bytes())
    data[22:24] = struct.pack("<H", 60_000)
    data[24:28] = struct.pack("<I", 2_000_000_000)
    path.write_bytes(data)
    refused(path, match="holds")


def test_a_sound_of_zeros_is_read_and_left_to_the_quality_record(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "silence.wav", np.zeros(96_000), 48_000)
    assert not read(tmp_path / "silence.wav").samples.any()


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("two\nlines.wav", r"two\nlines.wav"),
        ("-rf.wav", "-rf.wav"),
        ('it\'s "quoted".wav', 'it\'s "quoted".wav'),
        ("\x1b[31mred\x07.wav", r"\x1b[31mred\x07.wav"),
        ("right\u202eleft.wav", r"right\u202eleft.wav"),
        ("http:..example.wav", "http:..example.wav"),
        ("Grüße 洗濯機.wav", "Grüße 洗濯機.wav"),
    ],
)
def test_a_hostile_name_is_read_and_shown_harmlessly(
    tmp_path: Path, name: str, shown: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert shown in refused(name, match="does not exist")
    soundfile.write(tmp_path / "a.wav", NOISE, 48_000)
    (tmp_path / "a.wav").rename(tmp_path / name)
    assert read(name).duration_s == 2.0
    encode(tmp_path / "b.m4a", "aac", 48_000, clicks(48_000)).rename(tmp_path / name)
    assert read(name).source.codec == "aac"


def test_a_name_that_is_no_valid_text_is_read_and_shown_harmlessly(tmp_path: Path) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/bad\xff.wav"))
    refused(path, match="does not exist")
    soundfile.write(tmp_path / "a.wav", NOISE, 48_000)
    (tmp_path / "a.wav").rename(path)
    recording = read(path)
    assert recording.duration_s == 2.0
    recording.source.file.encode("utf-8")


def test_a_name_with_a_zero_byte_is_refused() -> None:
    refused("a\0b.wav", match=r"a\\x00b\.wav")


def test_a_short_log_is_refused(tmp_path: Path) -> None:
    path = write_rows(tmp_path / "a.csv", shaken(100.0, 0.1), header="t,x,y,z")
    refused(path, match="holds only 10 rows of numbers: at least")


def test_a_log_of_less_than_a_second_is_refused(tmp_path: Path) -> None:
    path = write_rows(tmp_path / "a.csv", shaken(100.0, 0.5), header="t,x,y,z")
    refused(path, match="at least 1 s is needed")


def test_a_log_whose_time_stands_still_is_refused(tmp_path: Path) -> None:
    columns = shaken(100.0, 20)
    columns[0] = 5.0
    refused(write_rows(tmp_path / "a.csv", columns, header="t,x,y,z"), match="hardly any rows")


def test_a_log_of_no_numbers_is_refused(tmp_path: Path) -> None:
    columns = shaken(100.0, 20)
    columns[1:] = np.nan
    path = write_rows(tmp_path / "a.csv", columns, header="t,x,y,z")
    refused(path, match="hardly any rows")


@pytest.mark.parametrize("rate", [0.0, -5.0, float("nan"), float("inf")])
def test_a_stated_rate_that_is_no_rate_is_refused(tmp_path: Path, rate: float) -> None:
    path = write_rows(tmp_path / "a.txt", shaken(100.0, 20)[1:3], separator="\t")
    refused(path, match="the stated rate", rate_hz=rate)


def test_one_enormous_line_does_not_fill_the_memory(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("7," * 5_000_000)
    refused(path, match="is text without a table")


def test_an_unknown_unit_of_acceleration_is_refused(tmp_path: Path) -> None:
    path = write_rows(tmp_path / "a.csv", shaken(100.0, 20), header="t,x,y,z")
    refused(path, match='state "m/s2" or "g"', acceleration_unit="ft/s2")
