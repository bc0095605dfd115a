"""Taking speech out of a recording before others than support hear it.

ANSI S3.5-1997 (speech intelligibility index, table 3, one-third octaves; value from memory) gives
every band from 160 Hz to 8 kHz a share of what makes speech understood, and nothing outside.  What
is left after all of these are stopped, from the lower edge of the first to the upper edge of the
last, has an index of zero: the drum's low orders and the hiss above stay, words do not.

Nothing detects where someone speaks: a detector misses some, and the band goes everywhere.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Recording, Remark, Source

# Edges of the one-third octaves of 160 Hz and 8 kHz: half a band, 2**(1/6), beyond the centres.
STOP_FROM_HZ = 160.0 / 2 ** (1 / 6)
STOP_TO_HZ = 8000.0 * 2 ** (1 / 6)
# Attenuation asked of the filter; full scale lies then under the last bit of 13.
STOP_DB = 80.0
# Width of the slopes, outside the band: 30 Hz leave the drum's first orders as they were.
SLOPE_HZ = 30.0
_BLOCK_S = 20.0

REMARK = Remark(
    what="The band of speech, 143 Hz to 9 kHz, was taken out of this copy.",
    consequence=(
        "The findings were made from the whole recording; this copy's sound and its picture of the "
        "spectrum hold less than they rest on."
    ),
)


def without_speech(recording: Recording) -> Recording:
    """A copy without the band of speech, and without the name and hash of the file.

    Args:
        recording: sound; a log of acceleration holds no speech and only loses its name.

    Returns:
        A recording of the same length and rate, whose source tells nothing of where it came from.
    """
    nameless = Source(file="recording", sha256="", container="", codec="")
    if recording.kind != "sound":
        return replace(recording, source=nameless)
    return replace(
        recording,
        samples=_stopped(recording.samples, recording.rate_hz),
        source=nameless,
        remarks=(*recording.remarks, REMARK),
    )


def _stopped(samples: NDArray[np.float32], rate_hz: float) -> NDArray[np.float32]:
    """Samples without the band; where all of it lies below half the rate, only its lower side."""
    from scipy.signal import oaconvolve

    taps = _filter(rate_hz)
    half = taps.size // 2
    out = np.empty(samples.shape, dtype=np.float32)
    size = max(1, round(_BLOCK_S * rate_hz))
    for channel in range(samples.shape[0]):
        for first in range(0, samples.shape[1], size):
            last = min(samples.shape[1], first + size)
            start, stop = max(0, first - half), min(samples.shape[1], last + half)
            block = np.nan_to_num(samples[channel, start:stop].astype(np.float64))
            filtered = oaconvolve(block, taps, mode="full")
            offset = first - start + half
            out[channel, first:last] = filtered[offset : offset + last - first]
    return out


def _filter(rate_hz: float) -> NDArray[np.float64]:
    """A linear-phase band stop by the window method (Kaiser's formulas)."""
    from scipy.signal import firwin, kaiserord

    half_rate = rate_hz / 2
    low, high = STOP_FROM_HZ - SLOPE_HZ / 2, STOP_TO_HZ + SLOPE_HZ / 2
    if half_rate <= low:
        return np.ones(1)
    length, beta = kaiserord(STOP_DB, SLOPE_HZ / half_rate)
    length |= 1
    edges = [low] if half_rate <= high + SLOPE_HZ else [low, high]
    taps: NDArray[np.float64] = firwin(
        length, edges, window=("kaiser", beta), pass_zero=True, fs=rate_hz
    )
    return taps
