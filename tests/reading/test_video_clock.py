"""Times are those that a player shows: encoder delay, edit lists, offsets and lost packets.

Truth is where the clicks were put; each file is made here with an independent encoder and
muxer (libavcodec, libavformat).  The trap is known: an AAC round trip that ignores the container
comes back 1024 samples, 21 ms, late.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from spinlab.reading import read
from tests.reading.clips import CLICKS_S, clicks, encode, found_clicks

# A quarter of the known 21 ms; containers that count whole milliseconds lose up to one.
CLOSE_S = 0.0015


def assert_clicks_at(path: Path, *, shift_s: float = 0.0, close_s: float = CLOSE_S) -> None:
    recording = read(path)
    expected = tuple(time + shift_s for time in CLICKS_S)
    found = found_clicks(recording.samples[0], recording.rate_hz, recording.start_s, expected)
    np.testing.assert_allclose(found, expected, rtol=0, atol=close_s)


@pytest.mark.parametrize(
    ("name", "codec", "rate_hz"),
    [
        ("a.m4a", "aac", 48_000),
        ("a.m4a", "aac", 44_100),
        ("a.mka", "aac", 48_000),
        ("a.mp3", "libmp3lame", 44_100),
        ("a.ogg", "libopus", 48_000),
        ("a.opus", "libopus", 48_000),
        ("a.webm", "libopus", 48_000),
        ("a.3gp", "libopencore_amrnb", 8_000),
    ],
)
def test_sound_alone_keeps_its_times(tmp_path: Path, name: str, codec: str, rate_hz: int) -> None:
    assert_clicks_at(encode(tmp_path / name, codec, rate_hz, clicks(rate_hz)))


@pytest.mark.parametrize("begin_s", [0.0, 0.5, -0.25])
@pytest.mark.parametrize(
    ("name", "codec", "pictures"),
    [("v.mp4", "aac", "mpeg4"), ("v.mov", "aac", "mpeg4"), ("v.webm", "libopus", "libvpx")],
)
def test_sound_that_begins_before_or_after_the_pictures_is_placed_on_their_clock(
    tmp_path: Path, name: str, codec: str, pictures: str, begin_s: float
) -> None:
    sound = clicks(48_000)
    path = encode(tmp_path / name, codec, 48_000, sound, pictures=pictures, begin_s=begin_s)
    if name.endswith("webm") and begin_s < 0:
        # This muxer moves all tracks forward until none is negative, pictures included.
        assert_clicks_at(path)
    else:
        assert_clicks_at(path, shift_s=begin_s)


def test_a_file_of_sound_alone_that_starts_late_starts_late(tmp_path: Path) -> None:
    path = encode(tmp_path / "a.m4a", "aac", 48_000, clicks(48_000), begin_s=0.5)
    assert read(path).start_s == pytest.approx(0.5, abs=0.03)
    assert_clicks_at(path, shift_s=0.5)


def test_a_stream_without_a_clock_is_late_by_no_more_than_its_encoders_delay(
    tmp_path: Path,
) -> None:
    """Raw AAC states no delay: every player shows it 1024 samples late, and so does the tool."""
    path = encode(tmp_path / "a.aac", "aac", 48_000, clicks(48_000), container="adts")
    assert_clicks_at(path, shift_s=1024 / 48_000)


def test_lost_packets_leave_a_listed_hole_and_later_times_stay_true(tmp_path: Path) -> None:
    path = encode(
        tmp_path / "v.mkv",
        "libopus",
        48_000,
        clicks(48_000),
        container="matroska",
        lost=range(150, 160),
    )
    recording = read(path)
    (gap,) = recording.gaps
    assert gap.start_s == pytest.approx(3.0, abs=0.03)
    assert gap.end_s - gap.start_s == pytest.approx(0.2, abs=0.01)
    assert_clicks_at(path, close_s=0.002)


def test_a_broadcast_stream_is_counted_from_its_first_stamp(tmp_path: Path) -> None:
    path = encode(
        tmp_path / "v.ts", "aac", 48_000, clicks(48_000), container="mpegts", pictures="mpeg4"
    )
    recording = read(path)
    assert recording.start_s < 0.05
    # Its encoder's delay is not stated either.
    assert_clicks_at(path, shift_s=1024 / 48_000)
