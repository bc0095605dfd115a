"""Tones: one band heard at every chirp rate, over its noise and over what stands still in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import Band
from spinlab.speed.chirp import transform_length, warped_power
from spinlab.speed.evidence import Floats, LogGrid, noise_floor, to_log_grid
from spinlab.speed.frames import CACHED_FRAMES, FEW_FRAMES, blocks
from spinlab.speed.ranks import ranked

# On a plateau longer frames see fainter lines; they serve the row of zero chirp rate only.
LONG_FRAME_S = 3.2
# Frames of which what stands still is told.
SAMPLE_FRAMES = 120
# Width of the noise floor in widths of a frame's spectral line, and half blocks below a band that
# it needs.
FLOOR_WIDTH = 40.0
FLOOR_MARGIN = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Hearing:
    """How one band is heard: chirp rates, frame, and what stands still in it.

    `first_bin` is the number of the first bin; `kept` holds every frame's ratio over noise where
    there are few frames.
    """

    band: Band
    alphas: NDArray[np.float64]
    frame_s: float
    standing: Floats
    still: Floats
    still_hz: NDArray[np.float64]
    bin_hz: float
    first_bin: int
    kept: Floats | None


def hearing_of(
    band: Band, seconds: NDArray[np.float64], alphas: NDArray[np.float64], frame_s: float
) -> Hearing:
    """What stands still in a band, from a sample of its frames."""
    every = 1 if len(seconds) <= FEW_FRAMES else len(seconds) // SAMPLE_FRAMES
    first_bin = _first_bin(band, frame_s)
    power, bin_hz = _power(band, seconds[::every], alphas, frame_s, first_bin)
    standing = _standing_power(power, bin_hz, first_bin, width_hz=FLOOR_WIDTH / frame_s)
    for block in blocks(len(power), CACHED_FRAMES):
        power[block] /= _floor(power[block], bin_hz, frame_s, standing)
    still = _still_part(power)
    middle = len(alphas) // 2
    bins = np.union1d(np.flatnonzero(standing[middle] > 0), steady_bins(still[middle]))
    return Hearing(
        band=band,
        alphas=alphas,
        frame_s=frame_s,
        standing=standing,
        still=still,
        still_hz=(bins + first_bin).astype(np.float64) * bin_hz,
        bin_hz=bin_hz,
        first_bin=first_bin,
        kept=power if every == 1 else None,
    )


def _first_bin(band: Band, frame_s: float) -> int:
    """Number of the first bin that a band's lines and their noise floor need.

    A whole number of the floor's half blocks, so that leaving bins out changes no floor.
    """
    bin_hz = band.rate_hz / transform_length(round(frame_s * band.rate_hz))
    half = round(FLOOR_WIDTH / frame_s / bin_hz / 2)
    return max(0, int(band.low_hz / bin_hz) // half - FLOOR_MARGIN) * half


def _power(
    band: Band,
    seconds: NDArray[np.float64],
    alphas: NDArray[np.float64],
    frame_s: float,
    first_bin: int,
) -> tuple[Floats, float]:
    """Power of the warped frames and the bin width in Hz."""
    return warped_power(
        band.signal,
        np.round(seconds * band.rate_hz).astype(np.int64),
        alphas,
        frame=round(frame_s * band.rate_hz),
        rate_hz=band.rate_hz,
        highest_hz=band.high_hz * 1.02,
        first_bin=first_bin,
    )


def _floor(power: Floats, bin_hz: float, frame_s: float, standing: Floats) -> Floats:
    """Noise floor of each warped frame, with what stands in it; a fixed number of bins wide."""
    floor = noise_floor(power, bin_hz, width_hz=FLOOR_WIDTH / frame_s)
    floor += STANDING_WEIGHT * standing
    return floor


def ratio_over_noise(hearing: Hearing, seconds: NDArray[np.float64], block: slice) -> Floats:
    """Power over local noise and over what stands still, the best of three chirp rates each.

    Args:
        hearing: how the band is heard.
        seconds: centres of all frames.
        block: the frames that are wanted.
    """
    if hearing.kept is not None:
        return best_of_three(hearing.kept[block] / hearing.still)
    power, bin_hz = _power(
        hearing.band, seconds[block], hearing.alphas, hearing.frame_s, hearing.first_bin
    )
    power /= _floor(power, bin_hz, hearing.frame_s, hearing.standing)
    power /= hearing.still
    return best_of_three(power)


def best_of_three(ratio: Floats) -> Floats:
    """Every second chirp rate with the better of its neighbours: half the states to search."""
    best = ratio[:, ::2].copy()
    np.maximum(best[:, 1:], ratio[:, 1::2], out=best[:, 1:])
    np.maximum(best[:, :-1], ratio[:, 1::2], out=best[:, :-1])
    return best


def long_frames(band: Band, seconds: NDArray[np.float64], part: LogGrid) -> Floats:
    """Ratio of frames long enough for faint lines on plateaus, shape (frames, cells)."""
    hearing = hearing_of(band, seconds, np.zeros(1), max(LONG_FRAME_S, 2.0 * band.frame_s))
    return np.concatenate(
        [cell_ratio(hearing, seconds, block, part)[:, 0] for block in blocks(len(seconds))]
    )


def cell_ratio(
    hearing: Hearing, seconds: NDArray[np.float64], block: slice, part: LogGrid
) -> Floats:
    """`ratio_over_noise` on cells of the log grid, shape (frames, alphas, cells)."""
    ratio = ratio_over_noise(hearing, seconds, block)
    return to_log_grid(ratio, hearing.bin_hz, part, first_bin=hearing.first_bin)


def steady_bins(still: Floats) -> NDArray[np.int64]:
    """Bins that stand out of the noise for most of the recording."""
    return np.flatnonzero(still > STEADY_RATIO)


def _standing_power(power: Floats, bin_hz: float, first_bin: int, *, width_hz: float) -> Floats:
    """Power of tones that never go away, per chirp rate and bin, shape (alphas, bins).

    Mains hum keeps its level while the machine's noise grows over it, so it is found in the quiet
    frames, in absolute power, even if it is masked for most of the recording.
    """
    some = _sample(power)
    rank = int(STANDING_QUANTILE * len(some))
    low = _low(some, rank) / np.float32(-np.log(1 - STANDING_QUANTILE))
    around = noise_floor(low, bin_hz, width_hz=width_hz)
    standing = np.where(low > STANDING_RATIO * around, low, 0.0).astype(np.float32)
    standing[..., : max(0, int(LOWEST_STANDING_HZ / bin_hz) - first_bin)] = 0.0
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
    some = _sample(ratio)
    rank = int(STILL_QUANTILE * len(some))
    low = _low(some, rank) / -np.log(1.0 - STILL_QUANTILE)
    return np.maximum(low, 0.7).astype(np.float32)


def _low(frames: Floats, rank: int) -> Floats:
    """The value of a rank among frames, shape (alphas, bins)."""
    # one chirp rate at a time, copied before it is turned, which is faster within the cache
    parts = (np.ascontiguousarray(frames[:, k]).T for k in range(frames.shape[1]))
    return np.stack([ranked(np.ascontiguousarray(part), rank) for part in parts])


def _sample(frames: Floats) -> Floats:
    """No more frames than a quantile needs."""
    return frames[:: -(-len(frames) // SAMPLE_FRAMES)]
