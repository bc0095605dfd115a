"""The other methods get a fair chance: on clean tones each reads the right speed."""

from dataclasses import replace

import numpy as np
import pytest

from spinlab.recording import Recording
from spinlab.simulate import Parameters
from spinlab.simulate.parameters import Drive
from tests.benchmarks.alternatives import MISTOLD_BY, mistold, reading
from tests.benchmarks.methods import Frames, yin_audio, yin_envelope, yin_motor
from tests.benchmarks.ridge import line_in_band, read_plateaus

RATE_HZ = 16_000
DRUM_HZ, RATIO = 15.0, 10.0
UNIT = replace(Parameters(), drive=Drive(kind="brushed", ratio=RATIO))


def sound(samples):
    wave = np.asarray(samples, dtype=np.float32)[np.newaxis]
    return Recording(kind="sound", samples=wave, rate_hz=float(RATE_HZ))


def seconds(length_s=8.0):
    return np.arange(int(length_s * RATE_HZ)) / RATE_HZ


def tones(*orders):
    noise = np.random.default_rng(5).normal(0, 0.05, len(seconds()))
    return noise + sum(np.sin(2 * np.pi * order * DRUM_HZ * seconds()) for order in orders)


def test_the_ridge_reads_a_motors_whine():
    found = read_plateaus(sound(tones(RATIO, 2 * RATIO)), UNIT, [(905.0, 0.0, 8.0)])
    assert found[0] == pytest.approx(900.0, rel=5e-4)


def test_a_ridge_that_hears_a_whine_reads_it_however_wrongly_it_was_told():
    told = [mistold([(900.0, 0.0, 8.0)], seed)[0] for seed in range(6)]
    off = [abs(asked / 900.0 - 1.0) for asked, _, _ in told]
    assert 0.02 < max(off) <= MISTOLD_BY
    found = read_plateaus(sound(tones(RATIO, 2 * RATIO)), UNIT, told)
    assert found == pytest.approx([900.0] * 6, rel=5e-4)


def test_the_ridge_declines_where_nothing_stands_out():
    noise = np.random.default_rng(6).normal(0, 1, len(seconds()))
    prominence, _ = line_in_band(np.arange(0.0, 800.0), np.ones((800, 4)), 300.0)
    assert prominence == pytest.approx(0.0, abs=1e-6)
    assert read_plateaus(sound(noise), UNIT, [(905.0, 0.0, 8.0)]) == [None]


@pytest.mark.parametrize(
    ("method", "samples"),
    [
        (yin_audio, tones(1, 2, 3, 4)),
        (yin_motor, tones(RATIO, 2 * RATIO, 3 * RATIO)),
        (
            yin_envelope,
            np.random.default_rng(7).normal(0, 1, len(seconds()))
            * (1 + 0.9 * np.sin(2 * np.pi * DRUM_HZ * seconds())),
        ),
    ],
)
def test_yin_reads_a_clear_signal(method, samples):
    pytest.importorskip("librosa")
    frames = method(sound(samples), UNIT)
    assert reading(frames, 1.0, 7.0) == pytest.approx(900.0, rel=0.01)


def test_scattered_frames_give_no_reading():
    time_s = np.arange(0.0, 5.0, 0.1)
    wild = Frames(time_s=time_s, speed_rpm=np.random.default_rng(1).uniform(300, 1600, 50))
    silent = Frames(time_s=time_s, speed_rpm=np.full(50, np.nan))
    assert reading(wild, 0.0, 5.0) is None
    assert reading(silent, 0.0, 5.0) is None
