"""Runs followed at a simple fraction of the drum's speed are put right by their beats alone."""

from __future__ import annotations

import numpy as np

from spinlab.speed.drumlock import MULTIPLES, Lock
from spinlab.speed.multiples import at_multiples
from tests.speed.test_moving_evidence import refined_of

FRAMES = 40


def lock_with(nats_at, room=4.0):
    """A lock with so many nats per window at some multiples; the speed fits `room` times."""
    windows = FRAMES // 2
    kin = np.zeros((windows, len(MULTIPLES)))
    for multiple, nats in nats_at.items():
        kin[:, MULTIPLES.index(multiple)] = nats
    return Lock(
        time_s=0.6 * np.arange(windows),
        correction=np.zeros(windows),
        sigma=np.full(windows, 1e-3),
        support=np.zeros(windows),
        from_beats=np.zeros(windows),
        kin=kin,
        room=np.full(windows, room),
    )


def ramp():
    return refined_of(np.linspace(1.0, 1.5, FRAMES))


def test_a_ramp_whose_noise_beats_at_twice_its_speed_is_moved_there():
    moved = at_multiples(ramp(), lock_with({2.0: 3.0}))
    assert moved is not None
    np.testing.assert_allclose(moved.log_hz - ramp().log_hz, np.log(2.0))


def test_it_stays_if_it_beats_at_its_own_speed_or_if_two_multiples_beat_alike():
    assert at_multiples(ramp(), lock_with({1.0: 3.0})) is None
    assert at_multiples(ramp(), lock_with({1.0: 2.5, 2.0: 3.0})) is None
    assert at_multiples(ramp(), lock_with({0.5: 2.5, 2.0: 3.0})) is None


def test_an_oval_drum_that_beats_far_more_twice_a_turn_stays():
    # Twice its speed beats ten times as strongly, but at half the drum's speed nothing would beat.
    assert at_multiples(ramp(), lock_with({1.0: 1.2, 2.0: 12.0})) is None


def test_no_run_is_moved_where_no_drum_could_turn():
    assert at_multiples(ramp(), lock_with({2.0: 3.0}, room=1.9)) is None
    assert at_multiples(ramp(), lock_with({0.5: 3.0}, room=1.9)) is not None


def test_what_never_moves_stays_where_it_is():
    still = refined_of(np.full(FRAMES, 1.0))
    assert at_multiples(still, lock_with({2.0: 3.0})) is None
