"""The usable band against filters and codecs of known limits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.signal import butter, resample_poly, sosfilt

from spinlab.quality import assess
from spinlab.reading import read
from tests.quality.sounds import RATE_HZ, machine, pink, sound
from tests.reading.clips import encode


def band(samples: np.ndarray, rate_hz: float = RATE_HZ) -> tuple[float, float]:
    found = assess(sound(np.round(samples * 32768) / 32768, rate_hz=rate_hz)).usable_band_hz
    assert found is not None
    return found


def test_unfiltered_noise_reaches_up_to_half_the_rate() -> None:
    low, high = band(pink(10))
    assert low <= 20
    assert high == RATE_HZ / 2


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 22_050, 32_000])
def test_sound_that_was_recorded_slower_shows_its_old_limit(rate_hz: int) -> None:
    slow = resample_poly(pink(10), rate_hz, RATE_HZ)
    high = band(resample_poly(slow, RATE_HZ, rate_hz))[1]
    assert high == pytest.approx(rate_hz / 2, rel=0.06)


@pytest.mark.parametrize("edge_hz", [2_000, 4_000, 8_000])
def test_a_steep_low_pass_shows_its_edge(edge_hz: int) -> None:
    steep = butter(20, edge_hz, "low", fs=RATE_HZ, output="sos")
    assert band(sosfilt(steep, pink(10)))[1] == pytest.approx(edge_hz, rel=0.12)


@pytest.mark.parametrize("edge_hz", [80, 200])
def test_a_high_pass_shows_where_thirty_decibels_are_lost(edge_hz: int) -> None:
    """24 dB an octave against noise that rises by 3 dB an octave downwards."""
    samples = sosfilt(butter(4, edge_hz, "high", fs=RATE_HZ, output="sos"), pink(20))
    low = band(samples)[0]
    assert edge_hz / 6 < low < edge_hz / 2


def test_tones_over_faint_noise_do_not_shrink_the_band() -> None:
    time = np.arange(10 * RATE_HZ) / RATE_HZ
    tones = sum(0.2 * np.sin(2 * np.pi * f * time) for f in (100, 1200, 5000))
    assert band(tones + pink(10, level=1e-3))[1] == RATE_HZ / 2


@pytest.mark.parametrize(
    ("codec", "name", "rate_hz", "bit_rate", "highest"),
    [
        # The limits that encoders print or document for these rates, value from memory.
        ("libmp3lame", "a.mp3", 48_000, 64_000, (10_000, 16_500)),
        ("libmp3lame", "a.mp3", 48_000, 128_000, (15_500, 20_500)),
        ("libopus", "a.ogg", 48_000, 12_000, (3_500, 8_500)),
        ("libopus", "a.ogg", 48_000, 64_000, (17_000, 20_500)),
        ("libopencore_amrnb", "a.amr", 8_000, 12_200, (3_400, 4_000)),
    ],
)
def test_a_codec_shows_its_limit(
    tmp_path: Path,
    codec: str,
    name: str,
    rate_hz: int,
    bit_rate: int,
    highest: tuple[float, float],
) -> None:
    samples = resample_poly(machine(8, 400, 1000), rate_hz, RATE_HZ).astype(np.float32)
    quality = assess(read(encode(tmp_path / name, codec, rate_hz, samples, bit_rate=bit_rate)))
    assert quality.usable_band_hz is not None
    assert highest[0] <= quality.usable_band_hz[1] <= highest[1]


def test_a_narrow_band_is_said_with_its_consequence() -> None:
    slow = resample_poly(machine(8, 400, 1000), 8_000, RATE_HZ)
    quality = assess(sound(slow, rate_hz=8_000))
    remark = next(r for r in quality.remarks if "Nothing is recorded above 4000 Hz" in r.what)
    assert "not measurable" in remark.consequence
