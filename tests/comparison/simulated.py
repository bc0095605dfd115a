"""Two takes of one simulated machine: its spin test run twice, recorded without a break.

The first run is taken from the machine as it was, the second from the machine as it became; both
with the same phone, room and place, and each with its own noise.  The drum's speed is the truth's.
"""

from dataclasses import replace

import numpy as np

from spinlab.simulate import random_parameters, simulate, spin_test
from tests.comparison.made import of
from tests.courses import track_of

FRAME_S = 0.3
HOLD_S = 6.0


def machine(seed, *, drive="brushed", snr_db=15.0):
    """A healthy machine whose phone does nothing clever, and its programme run twice."""
    rng = np.random.default_rng([41, seed])
    made = random_parameters(rng, kind="sound", drive=drive, snr_db=snr_db, rate_hz=16000)
    phone = replace(
        made.phone,
        start_s=0.0,
        duration_s=None,
        dropouts=0,
        moved_at_s=None,
        automatic_gain=0.0,
        noise_suppression=0.0,
    )
    return replace(made, programme=spin_test(hold_s=HOLD_S) * 2, phone=phone)


def two_takes(before, after, seed):
    """An analysis of the first run of `before`, and one of the second run of `after`."""
    first = simulate(before, seed)
    second = first if after is before else simulate(after, seed)
    return [_run(first, 0), _run(second, 1)]


def _run(made, number):
    recording, truth = made.recording, made.truth
    fast = np.flatnonzero(truth.speed_rpm > 0.9 * truth.speed_rpm.max())
    gap = int(np.argmax(np.diff(fast)))
    between = slice(fast[gap], fast[gap + 1])
    still_s = truth.time_s[between][int(np.argmin(truth.speed_rpm[between]))]
    ends = ((recording.start_s, still_s), (still_s, recording.end_s))[number]
    piece = recording.cut(*ends)
    frames_s = np.arange(piece.start_s + FRAME_S, piece.end_s - FRAME_S, FRAME_S)
    spread_s = np.linspace(-0.5, 0.5, 9) * FRAME_S
    speed = np.interp(frames_s[:, None] + spread_s, truth.time_s, truth.speed_rpm).mean(axis=1)
    speed = np.where(speed < 3.0, 0.0, speed)
    return of(piece, track_of(frames_s, speed, np.full(len(speed), 0.5)))
