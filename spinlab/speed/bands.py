"""Tone bands: decimated copies of a sound recording, one for each range of frame lengths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinlab.recording import Recording
from spinlab.speed.evidence import Floats

# A phone hardly hears this low, but a spin that shakes the floor is heard.
LOWEST_TONE_HZ = 7.0
# Upper edge in Hz of each tone band, its frame in s at trial chirp rates and along a known path.
SOUND_BANDS = ((420.0, 1.0, 1.2), (1680.0, 0.36, 0.5), (6700.0, 0.13, 0.25))


@dataclass(frozen=True, kw_only=True, eq=False)
class Band:
    """A decimated copy of the recording for one band of tones, and its frame lengths.

    `frame_s` is short enough for a trial chirp rate, `follow_s` for frames along a known path.
    """

    signal: Floats
    rate_hz: float
    low_hz: float
    high_hz: float
    frame_s: float
    follow_s: float


def tone_bands(recording: Recording, *, highest_hz: float) -> tuple[Band, ...]:
    """The tone bands of a sound recording."""
    from scipy.signal import resample_poly

    mono = np.nan_to_num(recording.samples.mean(axis=0, dtype=np.float32))
    top = min(SOUND_BANDS[-1][0], 0.43 * recording.rate_hz, highest_hz)
    bands, low = [], LOWEST_TONE_HZ
    for high, frame_s, follow_s in SOUND_BANDS:
        if low >= top:
            break
        high = min(high, top)
        factor = max(1, int(recording.rate_hz * 0.43 / high))
        part = resample_poly(mono, 1, factor).astype(np.float32) if factor > 1 else mono
        bands.append(
            Band(
                signal=part,
                rate_hz=recording.rate_hz / factor,
                low_hz=low,
                high_hz=high,
                frame_s=frame_s,
                follow_s=follow_s,
            )
        )
        low = high
    return tuple(bands)
