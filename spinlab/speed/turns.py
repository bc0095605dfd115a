"""Turns: the drum's own rate looked for along a course that something else told.

The tracker weighs the scale of each course that it found itself (`weigh`).  Where a course comes
from elsewhere, such as the blows of a damaged bearing, the drum's beats along it say by the same
measure how its rate and the drum's go together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording
from spinlab.speed.beats import beats_along
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
    beats = beats_along(envelopes, refined.course, lambda window_s: _centres_s(time_s, window_s))
    scan = scan_scales(refined, beats, (), range_hz=top_range_hz)
    logs = np.log(scan.factors)
    return logs, sharpened(scan.heard, scan.sharper, logs)


def _centres_s(time_s: NDArray[np.float64], window_s: float) -> NDArray[np.float64]:
    """Centres of the windows; none stands where the course has a hole."""
    centres_s = np.arange(time_s[0], time_s[-1], window_s / 4)
    apart_s = np.abs(time_s - centres_s[:, None]).min(axis=1)
    return centres_s[apart_s < window_s / 8]
