"""The log's clock: its rate is that of the sensor, whatever the stamps do.

Truth is the invented log itself: a tone of known frequency, sampled by a clock of known rate.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from spinlab.reading import read
from spinlab.recording import Recording
from tests.reading.logtext import GRAVITY, strongest_hz, write_rows

RATE_HZ = 92.04
TONE_HZ = 31.7
AMPLITUDE = 1.5


def tone(time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """x, y, z in m/s2 at the given instants, shape (3, n)."""
    noise = np.random.default_rng(9).normal(scale=0.02, size=(3, len(time_s)))
    noise[0] += AMPLITUDE * np.sin(2 * np.pi * TONE_HZ * time_s)
    noise[2] += GRAVITY
    return noise


def even(seconds: float = 120.0) -> NDArray[np.float64]:
    return np.arange(round(RATE_HZ * seconds)) / RATE_HZ


def logged(
    tmp_path: Path, stamps_s: NDArray[np.float64], values: NDArray[np.float64], digits: int = 3
) -> Recording:
    columns = np.vstack([stamps_s, values])
    return read(write_rows(tmp_path / "log.csv", columns, header="t,x,y,z", digits=digits))


def amplitude_at(recording: Recording, frequency_hz: float) -> float:
    """Amplitude of the x axis at one frequency, by projection on the file's own clock."""
    time = recording.start_s + np.arange(recording.length) / recording.rate_hz
    window = np.hanning(recording.length)
    x = recording.samples[0] - recording.samples[0].mean()
    turn = np.exp(-2j * np.pi * frequency_hz * time)
    return float(2 * np.abs(np.sum(window * x * turn)) / np.sum(window))


def phase_error(recording: Recording, first_s: float, last_s: float) -> float:
    """Angle in rad by which the tone on a stretch is off the truth."""
    part = recording.cut(first_s, last_s)
    time = part.start_s + np.arange(part.length) / part.rate_hz
    x = part.samples[0] - part.samples[0].mean()
    projection = np.sum(np.hanning(part.length) * x * np.exp(-2j * np.pi * TONE_HZ * time))
    return float(np.angle(projection * 1j))


def assert_true_tone(recording: Recording, *, loss: float = 0.01) -> None:
    assert strongest_hz(recording.samples[0], recording.rate_hz) == pytest.approx(
        TONE_HZ, abs=0.003
    )
    assert amplitude_at(recording, TONE_HZ) == pytest.approx(AMPLITUDE, rel=loss)


@pytest.mark.parametrize("digits", [3, 2])
def test_rounded_stamps_do_not_round_the_rate(tmp_path: Path, digits: int) -> None:
    """Steps of 10 and 11 ms have a median of 11 ms, 1.2 % off; the rate must not be."""
    time = even()
    recording = logged(tmp_path, np.round(time, digits), tone(time), digits)
    assert recording.rate_hz == pytest.approx(RATE_HZ, rel=2e-6 * 10 ** (3 - digits))
    assert_true_tone(recording)


@pytest.mark.parametrize("scatter_s", [0.001, 0.003, 0.005])
def test_stamps_that_scatter_around_an_even_clock_do_not_smear_the_readings(
    tmp_path: Path, scatter_s: float
) -> None:
    time = even()
    stamps = np.sort(time + np.random.default_rng(2).normal(scale=scatter_s, size=len(time)))
    recording = logged(tmp_path, stamps, tone(time), 6)
    # Standard error of a straight line's slope; four of them.
    error = scatter_s * np.sqrt(12 / len(time) ** 3) * RATE_HZ
    assert recording.rate_hz == pytest.approx(RATE_HZ, rel=4 * error)
    assert recording.clock is not None
    assert not recording.clock.resampled
    assert_true_tone(recording)


def test_readings_that_arrive_in_batches_are_spread_evenly(tmp_path: Path) -> None:
    time = even()
    stamps = time[np.minimum(np.arange(len(time)) // 10 * 10 + 9, len(time) - 1)]
    recording = logged(tmp_path, stamps, tone(time))
    assert recording.rate_hz == pytest.approx(RATE_HZ, rel=1e-4)
    assert recording.clock is not None
    assert recording.clock.duplicates > 0.8 * len(time)
    assert_true_tone(recording)


def test_steps_that_truly_vary_are_evened_out_by_interpolation_and_said(tmp_path: Path) -> None:
    steps = 1 / RATE_HZ * np.random.default_rng(4).uniform(0.8, 1.2, size=11_000)
    time = np.concatenate([[0.0], np.cumsum(steps)])
    slow = 9.3
    values = tone(time)
    values[0] = AMPLITUDE * np.sin(2 * np.pi * slow * time)
    recording = logged(tmp_path, time, values, 5)
    assert recording.clock is not None
    assert recording.clock.resampled
    assert strongest_hz(recording.samples[0], recording.rate_hz) == pytest.approx(slow, abs=0.003)
    assert amplitude_at(recording, slow) == pytest.approx(AMPLITUDE, rel=0.01)
    assert any("steps of the log truly vary" in remark.what for remark in recording.remarks)


def test_a_rate_that_changes_on_the_way_leaves_frequencies_true(tmp_path: Path) -> None:
    time = np.concatenate([np.arange(3000) / 50.0, 60.0 + np.arange(6000) / 100.0])
    values = tone(time)
    values[0] = AMPLITUDE * np.sin(2 * np.pi * 7.1 * time)
    recording = logged(tmp_path, time, values)
    for first, last in ((1.0, 59.0), (61.0, 119.0)):
        part = recording.cut(first, last)
        assert strongest_hz(part.samples[0], part.rate_hz) == pytest.approx(7.1, abs=0.01)


@pytest.mark.parametrize("digits", [3, 6])
def test_single_lost_samples_are_bridged_and_counted_not_squeezed_out(
    tmp_path: Path, digits: int
) -> None:
    time = even()
    keep = np.random.default_rng(6).uniform(size=len(time)) > 0.02
    keep[[0, -1]] = True
    recording = logged(tmp_path, time[keep], tone(time)[:, keep], digits)
    assert recording.rate_hz == pytest.approx(RATE_HZ, rel=2e-6)
    assert recording.length == len(time)
    assert recording.gaps == ()
    assert strongest_hz(recording.samples[0], recording.rate_hz) == pytest.approx(
        TONE_HZ, abs=0.003
    )
    for first in range(2, 118, 10):
        assert abs(phase_error(recording, first, first + 8)) < 0.05
    assert any("bridged" in remark.what for remark in recording.remarks)


@pytest.mark.parametrize("scatter_s", [0.0, 0.002])
def test_a_long_gap_is_filled_listed_and_leaves_later_times_true(
    tmp_path: Path, scatter_s: float
) -> None:
    time = even()
    stamps = np.sort(time + np.random.default_rng(2).normal(scale=scatter_s, size=len(time)))
    keep = (time < 40.0) | (time > 43.5)
    recording = logged(tmp_path, stamps[keep], tone(time)[:, keep], 6)
    (gap,) = recording.gaps
    assert gap.start_s == pytest.approx(40.0, abs=0.02)
    assert gap.end_s == pytest.approx(43.5, abs=0.02)
    assert recording.rate_hz == pytest.approx(RATE_HZ, rel=3e-5)
    assert recording.duration_s == pytest.approx(120.0, abs=0.02)
    assert abs(phase_error(recording, 20, 39)) < 0.15
    assert abs(phase_error(recording, 45, 119)) < 0.15
    assert recording.clock is not None
    assert recording.clock.longest_gap_s == pytest.approx(3.5, abs=0.03)
    inside = recording.cut(40.5, 43.0).samples[0]
    assert np.ptp(inside) < 2 * AMPLITUDE
    assert np.abs(np.diff(inside, 2)).max() < 1e-3


def test_a_pause_of_hours_is_not_filled_the_longer_part_is_kept_and_it_is_said(
    tmp_path: Path,
) -> None:
    time = even()
    stamps = np.where(time < 30.0, time, time + 36_000.0)
    recording = logged(tmp_path, stamps, tone(time))
    assert recording.duration_s == pytest.approx(90.0, abs=0.1)
    assert any("pause" in remark.what for remark in recording.remarks)
    assert_true_tone(recording)


def test_repeated_rows_are_counted_and_taken_once(tmp_path: Path) -> None:
    time = even()
    index = np.sort(np.concatenate([np.arange(len(time)), np.arange(0, len(time), 7)]))
    recording = logged(tmp_path, time[index], tone(time)[:, index], 6)
    assert recording.length == len(time)
    assert recording.clock is not None
    assert recording.clock.duplicates == len(index) - len(time)
    assert_true_tone(recording)


def test_rows_out_of_order_are_counted_and_sorted(tmp_path: Path) -> None:
    time = even()
    index = np.arange(len(time))
    for k in range(50, len(time) - 1, 100):
        index[[k, k + 1]] = index[[k + 1, k]]
    recording = logged(tmp_path, time[index], tone(time)[:, index], 6)
    assert recording.clock is not None
    assert recording.clock.backward_steps == len(range(50, len(time) - 1, 100))
    assert_true_tone(recording)


def test_a_clock_that_is_set_back_is_joined_not_sorted(tmp_path: Path) -> None:
    time = even()
    stamps = np.where(time < 60.0, time + 100.0, time - 60.0)
    recording = logged(tmp_path, stamps, tone(time), 6)
    assert recording.duration_s == pytest.approx(120.0, abs=0.05)
    assert any("set back" in remark.what for remark in recording.remarks)
    assert_true_tone(recording)


def test_single_broken_stamps_are_left_out(tmp_path: Path) -> None:
    time = even()
    stamps = time.copy()
    stamps[[500, 3000, 7000]] = [0.0, 1e9, -5.0]
    recording = logged(tmp_path, stamps, tone(time), 6)
    assert recording.length == len(time)
    assert recording.rate_hz == pytest.approx(RATE_HZ, rel=1e-6)
    assert_true_tone(recording)


def test_a_clock_that_wanders_is_followed(tmp_path: Path) -> None:
    """30 ms of wander over ten minutes, as between a sensor's and a phone's quartz."""
    index = np.arange(round(RATE_HZ * 600))
    true = index / RATE_HZ + 0.03 * np.sin(2 * np.pi * index / len(index))
    scatter = np.random.default_rng(8).normal(scale=0.001, size=len(index))
    recording = logged(tmp_path, np.sort(true + scatter), tone(true), 6)
    for first in (50, 200, 300, 400, 550):
        assert abs(phase_error(recording, first, first + 8)) < 0.25
    assert strongest_hz(recording.samples[0], recording.rate_hz) == pytest.approx(TONE_HZ, abs=0.01)
