"""The drum's own turns along a course that something else told."""

import numpy as np
import pytest

from spinlab.recording import Recording
from spinlab.speed.turns import turns_along

RATE_HZ = 16_000.0
TIME_S = np.arange(0.0, 40.0, 0.3)
# two plateaus and a ramp, Hz
DRUM_HZ = np.interp(TIME_S, [0.0, 15.0, 22.0, 40.0], [7.0, 7.0, 18.0, 18.0])


def heard(depth, seed=0):
    """Noise that swells once per turn."""
    t = np.arange(int(40.0 * RATE_HZ)) / RATE_HZ
    turns = np.cumsum(np.interp(t, TIME_S, DRUM_HZ)) / RATE_HZ
    noise = np.random.default_rng(seed).standard_normal(len(t))
    values = 0.05 * noise * (1.0 + depth * np.cos(2.0 * np.pi * turns))
    return Recording(
        kind="sound", samples=values[None].astype(np.float32), rate_hz=RATE_HZ, start_s=0.0
    )


@pytest.mark.parametrize("factor", [1.0, 0.97, 1.013, 0.28])
def test_the_drums_rate_over_the_courses_is_found(factor):
    logs, nats = turns_along(heard(0.4), TIME_S, np.log(DRUM_HZ / factor), top_range_hz=(5.0, 30.0))
    assert logs[np.argmax(nats)] == pytest.approx(np.log(factor), abs=0.003)
    assert nats.max() - np.median(nats) > 8.0


def test_a_drum_that_does_not_beat_is_not_found():
    logs, nats = turns_along(heard(0.0), TIME_S, np.log(DRUM_HZ), top_range_hz=(5.0, 30.0))
    assert nats.max() - np.median(nats) < 8.0
    assert len(logs) == len(nats)


def test_a_course_that_is_not_the_drums_is_not_confirmed():
    wrong = np.interp(TIME_S, [0.0, 15.0, 22.0, 40.0], [7.0, 8.5, 12.0, 18.0])
    _, right = turns_along(heard(0.4), TIME_S, np.log(DRUM_HZ), top_range_hz=(5.0, 30.0))
    _, nats = turns_along(heard(0.4), TIME_S, np.log(wrong), top_range_hz=(5.0, 30.0))
    assert nats.max() - np.median(nats) < right.max() - np.median(right) - 5.0
