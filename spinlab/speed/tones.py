"""Tones: one band heard at every chirp rate, over its noise and over what stands still in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import Band
from spinlab.speed.chirp import warped_power
from spinlab.speed.evidence import Floats, LogGrid, noise_floor, to_log_grid
from spinlab.speed.frames import blocks

# On a plateau longer frames see fainter lines; they serve the row of zero chirp rate only.
LONG_FRAME_S = 3.2
RATIO_KNEE = 8.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Hearing:
    """How one band is heard: chirp rates, frame, and what stands still in it."""

    band: Band
    alphas: NDArray[np.float64]
    frame_s: float
    standing: Floats
    still: Floats
    still_hz: NDArray[np.float64]
    bin_hz: float


def hearing_of(
    band: Band, seconds: NDArray[np.float64], alphas: NDArray[np.float64], frame_s: float
) -> Hearing:
    """What stands still in a band, from a sample of its frames."""
    power, bin_hz = _power(band, seconds[:: max(1, len(seconds) // 120)], alphas, frame_s)
    standing = _standing_power(power, bin_hz, width_hz=40.0 / frame_s)
    power /= _floor(power, bin_hz, frame_s) + STANDING_WEIGHT * standing
    still = _still_part(power)
    middle = len(alphas) // 2
    bins = np.union1d(np.flatnonzero(standing[middle] > 0), steady_bins(still[middle]))
    return Hearing(
        band=band,
        alphas=alphas,
        frame_s=frame_s,
        standing=standing,
        still=still,
        still_hz=bins.astype(np.float64) * bin_hz,
        bin_hz=bin_hz,
    )


def _power(
    band: Band, seconds: NDArray[np.float64], alphas: NDArray[np.float64], frame_s: float
) -> tuple[Floats, float]:
    """Power of the warped frames and the bin width in Hz."""
    return warped_power(
        band.signal,
        np.round(seconds * band.rate_hz).astype(np.int64),
        alphas,
        frame=round(frame_s * band.rate_hz),
        rate_hz=band.rate_hz,
        highest_hz=band.high_hz * 1.02,
    )


def _floor(power: Floats, bin_hz: float, frame_s: float) -> Floats:
    """Noise floor of each warped frame; its width is a fixed number of bins."""
    return noise_floor(power, bin_hz, width_hz=40.0 / frame_s)


def ratio_over_noise(hearing: Hearing, seconds: NDArray[np.float64]) -> Floats:
    """Power over local noise and over what stands still, compressed, of the frames at `seconds`."""
    power, bin_hz = _power(hearing.band, seconds, hearing.alphas, hearing.frame_s)
    power /= _floor(power, bin_hz, hearing.frame_s) + STANDING_WEIGHT * hearing.standing
    power /= hearing.still
    compress(power)
    return power


def long_frames(band: Band, seconds: NDArray[np.float64], part: LogGrid) -> Floats:
    """Ratio of frames long enough for faint lines on plateaus, shape (frames, cells)."""
    hearing = hearing_of(band, seconds, np.zeros(1), max(LONG_FRAME_S, 2.0 * band.frame_s))
    return np.concatenate(
        [
            to_log_grid(ratio_over_noise(hearing, seconds[block]), hearing.bin_hz, part)[:, 0]
            for block in blocks(len(seconds))
        ]
    )


def compress(ratio: Floats) -> None:
    """Let strong lines grow only with their logarithm beyond `RATIO_KNEE`, in place.

    A cap would turn the whole main lobe of a strong line into a plateau and hide where it peaks.
    """
    strong = ratio > RATIO_KNEE
    ratio[strong] = RATIO_KNEE + np.log(ratio[strong] / RATIO_KNEE)


def steady_bins(still: Floats) -> NDArray[np.int64]:
    """Bins that stand out of the noise for most of the recording."""
    return np.flatnonzero(still > STEADY_RATIO)


def _standing_power(power: Floats, bin_hz: float, *, width_hz: float) -> Floats:
    """Power of tones that never go away, per chirp rate and bin, shape (alphas, bins).

    Mains hum keeps its level while the machine's noise grows over it, so it is found in the quiet
    frames, in absolute power, even if it is masked for most of the recording.
    """
    some = power[:: max(1, len(power) // 120)]
    rank = int(STANDING_QUANTILE * len(some))
    low = np.partition(some, rank, axis=0)[rank] / np.float32(-np.log(1 - STANDING_QUANTILE))
    around = noise_floor(low, bin_hz, width_hz=width_hz)
    standing = np.where(low > STANDING_RATIO * around, low, 0.0).astype(np.float32)
    standing[..., : int(LOWEST_STANDING_HZ / bin_hz)] = 0.0
    return standing


# What stands at one frequency in more than this share of frames is no evidence of the drum: mains,
# a pump, a resonance of the cabinet or the room.  A plateau lasts less than the complement.
STILL_QUANTILE = 0.3
STEADY_RATIO = 5.0
# A tone heard in the quietest frames is expected in all; it must be exceeded this many times.
STANDING_QUANTILE = 0.15
STANDING_RATIO = 5.0
STANDING_WEIGHT = 4.0
# Below this there is no mains, and the noise itself is too steep to tell a tone by its neighbours.
LOWEST_STANDING_HZ = 40.0


def _still_part(ratio: Floats) -> Floats:
    """What stands still, as a factor on the noise floor, shape (alphas, bins).

    A low quantile over time, scaled to the mean of an exponential law: 1 where only noise is,
    large under a tone that never moves, untouched by a line that passes or stays for a while.
    """
    some = ratio[:: max(1, len(ratio) // 120)]
    rank = int(STILL_QUANTILE * len(some))
    low = np.partition(some, rank, axis=0)[rank] / -np.log(1.0 - STILL_QUANTILE)
    return np.maximum(low, 0.7).astype(np.float32)
