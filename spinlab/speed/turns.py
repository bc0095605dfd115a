"""Turns: the drum's own rate looked for along a course that something else told.

The tracker weighs the scale of each course that it found itself (`weigh`).  Where a course comes
from elsewhere, such as the blows of a damaged bearing, the drum's beats along it say by the same
measure how its rate and the drum's go together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.beats import WINDOWS_S, follow_beats, standing_beats
from spinlab.speed.candidates import sharpened
from spinlab.speed.listen import HIGHEST_TONE_HZ
from spinlab.speed.modulation import band_envelopes
from spinlab.speed.refine import without_lines
from spinlab.speed.scale import scan_scales


def turns_along(
    recording: Recording,
    time_s: NDArray[np.float64],
    log_hz: NDArray[np.float64],
    *,
    top_range_hz: tuple[float, float],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How well the drum's own turns fit each factor between its rate and a course's.

    Args:
        recording: sound.
        time_s: shape (frames,), increasing.
        log_hz: shape (frames,), ln of the course's rate in Hz.
        top_range_hz: slowest and fastest top speed of the drum.

    Returns:
        ln of the factors (drum rate over course rate), uniform, and the log-likelihood of each in
        nats, both of shape (factors,).
    """
    refined = without_lines(time_s, log_hz)
    envelopes = band_envelopes(recording, highest_hz=HIGHEST_TONE_HZ)
    stands = standing_beats(envelopes, refined.course)
    beats = []
    for window_s in WINDOWS_S:
        centres = np.arange(time_s[0], time_s[-1], window_s / 4)
        # no window stands where the course has a hole
        apart_s = np.abs(time_s - centres[:, None]).min(axis=1)
        beats.append(
            follow_beats(
                envelopes,
                refined.course,
                centres[apart_s < window_s / 8],
                window_s=window_s,
                stands=stands,
            )
        )
    scan = scan_scales(refined, tuple(beats), (), range_hz=top_range_hz)
    logs = np.log(scan.factors)
    return logs, sharpened(scan.heard, scan.sharper, logs)
