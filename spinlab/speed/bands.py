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
# Share of a rate up to which decimation leaves lines as they are.
HIGHEST_SHARE = 0.43


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
    top = min(SOUND_BANDS[-1][0], HIGHEST_SHARE * recording.rate_hz, highest_hz)
    lows = [LOWEST_TONE_HZ, *(high for high, _, _ in SOUND_BANDS)]
    wanted = [(low, *band) for low, band in zip(lows, SOUND_BANDS, strict=False) if low < top]
    bands: list[Band] = []
    samples, done = recording.samples, 1
    # from the top, so that each band is decimated from the one above it
    for low, high, frame_s, follow_s in reversed(wanted):
        high = min(high, top)
        factor = max(1, int(recording.rate_hz * HIGHEST_SHARE / high) // done)
        signal = decimated(samples, factor)
        samples, done = signal[None], done * factor
        bands.append(
            Band(
                signal=signal,
                rate_hz=recording.rate_hz / done,
                low_hz=low,
                high_hz=high,
                frame_s=frame_s,
                follow_s=follow_s,
            )
        )
    return tuple(reversed(bands))


# Samples after decimation that are made at once, and what each block needs beyond its ends: twice
# the half length of the filter, which is ten samples at the lower rate (SciPy's resample_poly).
BLOCK = 1 << 18
MARGIN = 20


def decimated(samples: Floats, factor: int) -> Floats:
    """The mean of all channels at a rate lower by a whole factor, block by block, shape (n,)."""
    from scipy.signal import resample_poly

    length = samples.shape[1]
    out = np.empty(-(-length // factor), np.float32)
    for first in range(0, len(out), BLOCK):
        last = min(first + BLOCK, len(out))
        start = max(0, first - MARGIN)
        part = samples[:, start * factor : (last + MARGIN) * factor].mean(axis=0, dtype=np.float32)
        part = finite(part)
        whole = resample_poly(part, 1, factor) if factor > 1 else part
        out[first:last] = whole[first - start : last - start]
    return out


def finite(values: Floats) -> Floats:
    """The values with 0 for what is no number."""
    return values if np.isfinite(values).all() else np.nan_to_num(values)
