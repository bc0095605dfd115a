"""Reading and quality on open measured recordings, where they are at hand.

They are never part of the project: their licences are unstated.  What each holds is told by the
README beside them.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from spinlab.quality import assess
from spinlab.reading import read
from spinlab.recording import Recording

SHARED = Path(os.environ.get("SPINLAB_SHARED", Path(__file__).parents[2].parent / "shared"))
WASHER = SHARED / "data" / "washer_accel"
APPLIANCES = SHARED / "data" / "appliance_audio"


def measured(path: Path) -> Path:
    if not path.exists():
        pytest.skip(f"the measured recording {path.name} is not at {path.parent}")
    return path


def line_level(recording: Recording, frequency_hz: float) -> float:
    """Tallest line within 0.3 Hz, as a multiple of the median within 3 Hz, sum over axes."""
    points = 2**16
    frequency = np.fft.rfftfreq(points, 1 / recording.rate_hz)
    x = recording.samples - recording.samples.mean(axis=1, keepdims=True)
    power = (np.abs(np.fft.rfft(x * np.hanning(x.shape[1]), points)) ** 2).sum(axis=0)
    near = np.abs(frequency - frequency_hz)
    return float(power[near < 0.3].max() / np.median(power[near < 3]))


@pytest.mark.parametrize(
    ("name", "duration_s"),
    [("machine_off", 49), ("mainwash_and_remove_water", 147), ("start_centrif", 147)],
)
def test_a_washers_log_of_three_sensors_gives_its_accelerometer(
    name: str, duration_s: float
) -> None:
    recording = read(measured(WASHER / f"{name}.csv"))
    assert recording.channel_names == ("x", "y", "z")
    assert recording.rate_hz == pytest.approx(92.04, rel=4e-4)
    assert recording.duration_s == pytest.approx(duration_s, abs=0.5)
    assert recording.gaps == ()
    assert recording.clock is not None
    assert not recording.clock.resampled
    assert np.linalg.norm(recording.samples.mean(axis=1)) == pytest.approx(9.8, rel=0.03)


@pytest.mark.parametrize("frequency_hz", [16.9, 25.2, 42.06])
def test_the_lines_of_the_running_washer_stand_out(frequency_hz: float) -> None:
    recording = read(measured(WASHER / "start_centrif.csv"))
    assert line_level(recording.cut(60.0, 140.0), frequency_hz) > 30


def test_the_washer_that_is_off_is_at_its_floor_and_the_running_one_is_not() -> None:
    off = assess(read(measured(WASHER / "machine_off.csv")))
    on = assess(read(measured(WASHER / "start_centrif.csv")))
    assert off.level_m_s2 is not None
    assert on.level_m_s2 is not None
    assert off.level_m_s2 < 0.01
    assert on.level_m_s2 > 10 * off.level_m_s2
    assert off.clipped_share == on.clipped_share == 0.0
    assert off.dropouts == on.dropouts == ()
    assert any("folds down" in remark.what for remark in off.remarks)


def test_a_plates_two_columns_need_their_rate() -> None:
    path = measured(SHARED / "data" / "sweep_reference" / "plateVib.txt")
    recording = read(path, rate_hz=1280.0)
    assert recording.duration_s == pytest.approx(39.3, abs=0.05)
    assert recording.channels == 2


@pytest.mark.parametrize(
    ("name", "rate_hz", "channels", "duration_s"),
    [("washing-machine.mp3", 24_000, 2, 22.5), ("dryer.mp3", 16_000, 1, 28.0)],
)
def test_loops_of_household_sound_are_clean_and_nobody_speaks(
    name: str, rate_hz: float, channels: int, duration_s: float
) -> None:
    recording = read(measured(APPLIANCES / name))
    quality = assess(recording)
    assert recording.rate_hz == rate_hz
    assert recording.channels == channels
    assert recording.duration_s == pytest.approx(duration_s, abs=0.1)
    assert quality.usable
    assert quality.speech_share == 0.0
    assert quality.clipped_share == 0.0
    assert quality.noise_suppression == "not seen"
    assert quality.usable_band_hz is not None
    assert rate_hz / 4 < quality.usable_band_hz[1] <= rate_hz / 2
