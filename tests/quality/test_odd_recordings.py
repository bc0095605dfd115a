"""Recordings at the edges of what there is: the record is made, and time is kept in bounds."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import scipy.io

from spinlab.quality import Quality, assess
from spinlab.recording import Recording
from tests.quality.test_measured import SHARED, measured


def rows(channels: int, length: int, kind: str = "sound", rate_hz: float = 48_000) -> Recording:
    noise = np.random.default_rng(1).normal(scale=0.1, size=(channels, length))
    return Recording(kind=kind, samples=noise.astype(np.float32), rate_hz=rate_hz)


def assert_finite(quality: Quality) -> None:
    for field in dataclasses.fields(quality):
        value = getattr(quality, field.name)
        if isinstance(value, float):
            assert math.isfinite(value), field.name


@pytest.mark.parametrize(
    "recording",
    [
        rows(1, 1),
        rows(1, 2),
        rows(2, 700),
        rows(1, 48_000),
        rows(32, 48_000),
        rows(1, 16_000, rate_hz=8_000),
        rows(1, 400_000, rate_hz=192_000),
        rows(1, 3000, rate_hz=1_000),
        rows(3, 16, kind="acceleration", rate_hz=100),
        rows(1, 200, kind="acceleration", rate_hz=100),
        rows(3, 500, kind="acceleration", rate_hz=2.0),
        rows(3, 100_000, kind="acceleration", rate_hz=12_000),
    ],
    ids=lambda r: f"{r.kind}-{r.channels}x{r.length}-{r.rate_hz:g}Hz",
)
def test_every_recording_gets_a_record_of_finite_numbers(recording: Recording) -> None:
    quality = assess(recording)
    assert_finite(quality)
    assert quality.duration_s == recording.duration_s
    assert quality.usable == (quality.reason == "")


@pytest.mark.parametrize("constant", [0.0, 0.25, -1.0])
def test_a_constant_is_silence(constant: float) -> None:
    samples = np.full((1, 96_000), constant, dtype=np.float32)
    quality = assess(Recording(kind="sound", samples=samples, rate_hz=48_000))
    assert_finite(quality)
    assert not quality.usable


def test_the_start_of_the_clock_moves_every_time_in_the_record() -> None:
    noise = np.random.default_rng(1).normal(scale=0.1, size=(1, 480_000)).astype(np.float32)
    noise[:, 240_000:264_000] = 0
    late = Recording(kind="sound", samples=noise, rate_hz=48_000, start_s=100.0)
    (gap,) = assess(late).dropouts
    assert (gap.start_s, gap.end_s) == pytest.approx((105.0, 105.5), abs=0.01)


def test_a_rig_with_a_healthy_bearing_is_clean() -> None:
    data = np.load(measured(SHARED / "data" / "cwru" / "1797_Normal.npz"))
    samples = np.atleast_2d(np.ravel(data["DE"])).astype(np.float32) * np.float32(9.80665)
    quality = assess(Recording(kind="acceleration", samples=samples, rate_hz=12_000))
    assert quality.usable
    assert quality.clipped_share == 0.0
    assert quality.dropouts == ()


def test_a_rig_with_a_faulty_bearing_is_clean() -> None:
    data = scipy.io.loadmat(measured(SHARED / "data" / "mfpt" / "OuterRaceFault_vload_1.mat"))
    samples = np.atleast_2d(np.ravel(data["bearing"]["gs"][0, 0])).astype(np.float32)
    quality = assess(Recording(kind="acceleration", samples=samples, rate_hz=48_828))
    assert quality.usable
    assert quality.clipped_share == 0.0
