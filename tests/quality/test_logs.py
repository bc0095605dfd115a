"""Acceleration logs: rate, jitter, range, held readings, and what folds onto what."""

from __future__ import annotations

import numpy as np
import pytest

from spinlab.quality import alias_of, assess
from spinlab.recording import Gap, Recording, SampleClock

GRAVITY = 9.80665


def log(
    x: np.ndarray, *, rate_hz: float = 100.0, clock: SampleClock | None = None, **options: object
) -> Recording:
    rng = np.random.default_rng(3)
    rows = np.stack([x, *rng.normal(scale=0.02, size=(2, len(x)))])
    rows[2] += GRAVITY
    return Recording(
        kind="acceleration",
        samples=rows.astype(np.float32),
        rate_hz=rate_hz,
        channel_names=("x", "y", "z"),
        clock=clock,
        **options,
    )


def shaken(amplitude: float, rate_hz: float = 100.0, seconds: float = 120.0) -> np.ndarray:
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    noise = np.random.default_rng(4).normal(scale=0.05, size=len(time))
    return amplitude * np.sin(2 * np.pi * 13.3 * time) + noise


def says(quality: object, words: str) -> bool:
    return any(words in remark.what for remark in quality.remarks)


def test_the_level_leaves_gravity_out() -> None:
    quality = assess(log(shaken(2.0)))
    assert quality.level_m_s2 == pytest.approx(2 / np.sqrt(2), rel=0.01)
    assert quality.level_dbfs is None


def test_the_floor_is_that_of_the_still_part() -> None:
    x = shaken(2.0)
    x[:3000] = np.random.default_rng(5).normal(scale=0.01, size=3000)
    quality = assess(log(x))
    assert quality.noise_floor_m_s2 == pytest.approx(0.01, rel=0.3)


@pytest.mark.parametrize("full_range_g", [2, 4, 8])
def test_a_sensor_at_its_limit_is_named_with_its_range(full_range_g: int) -> None:
    limit = full_range_g * GRAVITY
    x = np.clip(shaken(1.5 * limit), -limit, limit)
    quality = assess(log(x))
    assert quality.clipped_share == pytest.approx(np.mean(np.abs(x) >= limit), rel=0.05)
    assert says(quality, f"its range of {full_range_g} g")


def test_a_free_sine_is_not_at_its_limit() -> None:
    assert assess(log(shaken(15.0))).clipped_share == 0.0


def test_readings_that_only_repeat_halve_the_band() -> None:
    rows = log(shaken(2.0)).samples
    held = np.repeat(rows[:, ::2], 2, axis=1)
    quality = assess(Recording(kind="acceleration", samples=held, rate_hz=100.0))
    assert quality.held_share == pytest.approx(0.5, abs=0.01)
    assert quality.usable_band_hz is not None
    assert quality.usable_band_hz[1] == pytest.approx(25.0, rel=0.02)
    assert says(quality, "repeats the reading before")


def test_a_log_too_slow_for_the_top_speed_says_which_speed_it_carries() -> None:
    quality = assess(log(shaken(2.0, rate_hz=40.0), rate_hz=40.0))
    assert quality.usable_band_hz is not None
    assert quality.usable_band_hz[1] == 20.0
    remark = next(r for r in quality.remarks if "carries no more than 20.0 Hz" in r.what)
    assert "1200 rpm is not measurable" in remark.consequence


def test_stamps_that_scatter_and_a_clock_that_varies_are_told() -> None:
    clock = SampleClock(
        median_step_s=0.01,
        jitter_s=0.002,
        duplicates=0,
        backward_steps=0,
        longest_gap_s=0.02,
        resampled=True,
    )
    quality = assess(log(shaken(2.0), clock=clock))
    assert quality.jitter_s == 0.002
    assert quality.usable_band_hz is not None
    assert quality.usable_band_hz[1] == pytest.approx(30.0)
    assert says(quality, "scatter by 2.0 ms about 10.00 ms")


def test_the_rates_uncertainty_joins_quartz_and_jitter() -> None:
    """Standard error of a straight line through n scattered stamps: s sqrt(12 / n^3) (handbook)."""
    clock = SampleClock(
        median_step_s=0.01, jitter_s=0.003, duplicates=0, backward_steps=0, longest_gap_s=0.02
    )
    quality = assess(log(shaken(2.0, seconds=2.0), clock=clock))
    line = 0.003 * np.sqrt(12 / 200**3) * 100.0**2
    assert quality.rate_standard_uncertainty_hz == pytest.approx(
        np.hypot(line, 50e-6 * 100.0), rel=0.01
    )


def test_gaps_of_the_reader_are_dropouts() -> None:
    gap = Gap(start_s=10.0, end_s=14.0, reason="readings that are missing: 400")
    quality = assess(log(shaken(2.0), gaps=(gap,)))
    assert quality.dropouts == (gap,)
    assert says(quality, "nothing recorded: 1, 4.00 s in all, the first at 00:10.0")


def test_a_sensor_that_never_moves_is_unusable() -> None:
    rows = np.tile(np.array([[0.0], [0.0], [GRAVITY]], np.float32), (1, 2000))
    quality = assess(Recording(kind="acceleration", samples=rows, rate_hz=100.0))
    assert not quality.usable
    assert "never change" in quality.reason


@pytest.mark.parametrize(
    ("frequency_hz", "rate_hz", "appears_at_hz"),
    [
        (50.0, 92.04, 42.04),
        (100.0, 92.04, 7.96),
        (20.0, 92.04, 20.0),
        (46.02, 92.04, 46.02),
        (92.04, 92.04, 0.0),
        (-30.0, 100.0, 30.0),
        (1460.0, 100.0, 40.0),
    ],
)
def test_a_frequency_beyond_half_the_rate_appears_where_a_sampled_sine_does(
    frequency_hz: float, rate_hz: float, appears_at_hz: float
) -> None:
    assert alias_of(frequency_hz, rate_hz) == pytest.approx(appears_at_hz, abs=1e-9)
    time = np.arange(4096) / rate_hz
    sampled = np.cos(2 * np.pi * frequency_hz * time)
    peak = np.argmax(np.abs(np.fft.rfft(sampled * np.hanning(4096)))) * rate_hz / 4096
    assert peak == pytest.approx(appears_at_hz, abs=rate_hz / 4096)


def test_mains_tones_that_fold_down_are_named_with_where_they_appear() -> None:
    quality = assess(log(shaken(2.0, rate_hz=92.04), rate_hz=92.04))
    remark = next(r for r in quality.remarks if "folds down" in r.what)
    assert "50 Hz at 42.0 Hz" in remark.consequence
