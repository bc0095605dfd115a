"""Level, floor, clipping and dropouts of sound and acceleration alike, block by block."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.recording import Gap, Recording

BLOCK_S = 20.0
# Frames in which a dropout is looked for: two of them are the shortest that is reported.  A
# sensor at rest repeats a reading now and then, hence the longer one for logs.
_SHORT_FRAME_S = {"sound": 0.005, "acceleration": 0.25}
# Frames over which a level is taken for the floor: two periods of the slowest tone heard.
_LEVEL_FRAME_S = 0.1
_FLOOR_QUANTILE = 0.05
# A share of the peak this narrow counts as "at the end of the range".
_TOP = 0.002
_BINS = 2000
# At a hard limit far more samples lie at the very top than in an equal stretch a little lower.
# A sine, the most piled-up of honest signals, has 3.4 (arcsine law), any noise less than 1.
_PILE_RATIO = 6.0
_FEWEST_CLIPPED = 12
# A codec smears the flat tops of clipped sound, over and under full scale alike.  No phone lets
# an unclipped recording dwell there: gain control and limiter keep it lower.
_NEAR_FULL_SCALE = 0.99
_SMEARED_SHARE = 1e-4
# Below half a step of 16-bit sound there is only digital silence.
_SILENT = 0.5 / 32768


@dataclass(frozen=True, kw_only=True, eq=False)
class Levels:
    """Per channel, shape (channels,), and per recording."""

    mean: NDArray[np.float64]
    rms: NDArray[np.float64]
    peak: NDArray[np.float64]
    floor: float
    clipped: NDArray[np.float64]
    silent: tuple[tuple[float, float], ...]

    @property
    def loudest(self) -> int:
        """The channel of the greatest level."""
        return int(np.argmax(self.rms))


def measure_levels(recording: Recording) -> Levels:
    """Two passes over the samples: extremes and sums, then the shape of the extremes."""
    channels, length = recording.channels, max(1, recording.length)
    total, squares = np.zeros(channels), np.zeros(channels)
    low, high = np.full(channels, np.inf), np.full(channels, -np.inf)
    for block in _rows(recording, BLOCK_S):
        total += block.sum(axis=1, dtype=np.float64)
        squares += np.einsum("ij,ij->i", block, block, dtype=np.float64)
        low, high = np.minimum(low, block.min(axis=1)), np.maximum(high, block.max(axis=1))
    mean = total / length
    rms = np.sqrt(np.maximum(0.0, squares / length - mean**2))
    counts = np.zeros((channels, _BINS), dtype=np.int64)
    frames: list[NDArray[np.float32]] = []
    steady: list[NDArray[np.bool_]] = []
    loudest = int(np.argmax(rms))
    size = _frame_size(recording)
    for block in _rows(recording, _block_s(size, recording.rate_hz)):
        for channel, row in enumerate(block):
            counts[channel] += _histogram(row, float(low[channel]), float(high[channel]))
        frames.append(_frame_power(block[loudest] - np.float32(mean[loudest]), recording.rate_hz))
        steady.append(_steady_frames(block, size))
    power = np.concatenate(frames)
    clipped = [_clipped(row) for row in counts]
    if recording.kind == "sound" and recording.source.bits is None:
        smeared = [_smeared(*each) for each in zip(counts, low, high, strict=True)]
        clipped = [max(pair) for pair in zip(clipped, smeared, strict=True)]
    return Levels(
        mean=mean,
        rms=rms,
        peak=np.maximum(np.abs(low), np.abs(high)),
        floor=float(np.sqrt(np.quantile(power, _FLOOR_QUANTILE))) if len(power) else float(rms[0]),
        clipped=np.array(clipped) / length,
        silent=tuple(_stretches(np.concatenate(steady), size, recording)),
    )


def _rows(recording: Recording, seconds: float) -> Iterator[NDArray[np.float32]]:
    """Blocks with every channel in one piece: on disk they lie interleaved, which is slow."""
    for _, block in recording.blocks(seconds):
        yield np.ascontiguousarray(block)


def _frame_size(recording: Recording) -> int:
    return max(2, round(_SHORT_FRAME_S[recording.kind] * recording.rate_hz))


def _block_s(size: int, rate_hz: float) -> float:
    """About `BLOCK_S`, in whole frames, so that frames run on from block to block."""
    return max(1, round(BLOCK_S * rate_hz / size)) * size / rate_hz


def _histogram(row: NDArray[np.float32], low: float, high: float) -> NDArray[np.int64]:
    """Counts over `_BINS` equal bins from the lowest to the highest value."""
    if high <= low:
        return np.zeros(_BINS, dtype=np.int64)
    bins = (row - np.float32(low)) * np.float32((_BINS - 1e-3) / (high - low))
    return np.bincount(bins.astype(np.int32), minlength=_BINS)[:_BINS]


def _clipped(counts: NDArray[np.int64]) -> int:
    """Samples piled up at the ends of the range."""
    width = max(1, round(_TOP * _BINS))
    # Empty bins are steps of a coarse converter, or a thin tail: neither is a place to compare.
    filled = counts[counts > 0]
    clipped = 0
    for side in (filled, filled[::-1]):
        top = int(side[:width].sum())
        below = int(side[width : 6 * width].sum()) / 5
        if len(side) > 6 * width and top >= _FEWEST_CLIPPED and top > _PILE_RATIO * below:
            clipped += top
    return clipped


def _smeared(counts: NDArray[np.int64], low: float, high: float) -> int:
    """Samples about full scale, where they can only be clipped tops that went through a codec."""
    size = np.abs(low + (np.arange(_BINS) + 0.5) * (high - low) / _BINS)
    top = int(counts[size >= _NEAR_FULL_SCALE].sum())
    return top if top > _SMEARED_SHARE * counts.sum() else 0


def _frame_power(row: NDArray[np.float32], rate_hz: float) -> NDArray[np.float32]:
    size = max(1, round(_LEVEL_FRAME_S * rate_hz))
    count = len(row) // size
    frames = row[: count * size].reshape(count, size)
    return np.asarray(np.einsum("ij,ij->i", frames, frames) / size, dtype=np.float32)


def _steady_frames(block: NDArray[np.float32], size: int) -> NDArray[np.bool_]:
    """For each short frame whether every channel holds one value throughout."""
    count = block.shape[1] // size
    steady = np.ones(count, dtype=bool)
    for row in block:
        frames = row[: count * size].reshape(count, size)
        steady &= frames.max(axis=1) - frames.min(axis=1) <= 2 * _SILENT
    return steady


def _stretches(
    steady: NDArray[np.bool_], size: int, recording: Recording
) -> Iterator[tuple[float, float]]:
    """Start and end in s of runs of at least two frames of one value."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], steady, [False]]).astype(np.int8)))
    step = size / recording.rate_hz
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if end - start >= 2:
            yield recording.start_s + float(start) * step, recording.start_s + float(end) * step


def dropouts(levels: Levels, recording: Recording, *, reason: str) -> tuple[Gap, ...]:
    """The reader's gaps and the stretches of constant samples outside them, in order of time."""
    found = list(recording.gaps)
    for start, end in levels.silent:
        if not any(
            gap.start_s - 0.02 <= start and end <= gap.end_s + 0.02 for gap in recording.gaps
        ):
            found.append(Gap(start_s=start, end_s=end, reason=reason))
    return tuple(sorted(found, key=lambda gap: gap.start_s))
