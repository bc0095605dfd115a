"""The maps that all tracking reads: tones and modulations over (time, chirp rate, log frequency).

Tones come in three bands with frames that shorten as frequency rises, so that every cell of the
log grid is about one spectral bin wide and a chirp blurs each band alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.bands import Band
from spinlab.speed.chirp import alpha_grid, kernel_power, warped_kernels, warped_power
from spinlab.speed.evidence import Floats, LogGrid, line_evidence, noise_floor, to_log_grid
from spinlab.speed.modulation import Envelopes

Halves = NDArray[np.float16]

HOP_S = 0.3
# Frames that are worked on at once.
BLOCK_FRAMES = 64
# Power over local noise at which a line counts as there.
PRESENT_RATIO = 4.5
GRID_STEP = 0.007
MODULATION_FRAME_S = 1.6
# On a plateau longer frames see fainter lines; they serve the row of zero chirp rate only.
LONG_FRAME_S = 3.2
LOWEST_MODULATION_HZ = 1.2
HIGHEST_MODULATION_HZ = 62.0
MODULATION_BIN_HZ = 0.15
BEAT_BINS_HZ = np.arange(LOWEST_MODULATION_HZ, HIGHEST_MODULATION_HZ, MODULATION_BIN_HZ)
# Evidence that one carrier band may give to one modulation line, and the prior that it beats.
MODULATION_LIMIT = 4.0
MODULATION_PRIOR = 0.2
RATIO_KNEE = 8.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Maps:
    """Evidence maps of one recording.

    Attributes:
        time_s: shape (frames,), frame centres on the file's own clock.
        alphas: shape (alphas,), 1/s.
        grid: the log grid of `tones`; `modulation` covers its first cells.
        lines: shape (frames, alphas, cells), float16, evidence of a line in nats, taken down where
            it stands still for most of the recording and weighted by how much of a frame is news:
            frames longer than the hop overlap, and evidence counted twice would outvote the
            physics of the path.
        modulation: shape (frames, alphas, cells), float16, summed evidence in nats over carrier
            bands.
        present: shape (cells,), the evidence at which a line counts as there.
        steady_hz: frequencies of lines that stand still.
        lowest_tone_hz: no tone is looked for below this.
    """

    time_s: NDArray[np.float64]
    alphas: NDArray[np.float64]
    grid: LogGrid
    lines: Halves
    modulation: Halves
    present: Floats
    steady_hz: NDArray[np.float64]
    lowest_tone_hz: float

    @property
    def hop_s(self) -> float:
        """Time between frames."""
        return HOP_S


def make_maps(
    bands: tuple[Band, ...],
    envelopes: Envelopes | None,
    *,
    start_s: float,
    duration_s: float,
    lowest_hz: float,
    lowest_tone_hz: float,
) -> Maps:
    """Evidence maps of a recording.

    Args:
        bands: its tone bands, lowest first.
        envelopes: its carrier envelopes, or None where there are none to beat.
        start_s: time of the first sample.
        duration_s: length.
        lowest_hz: slowest drum rate looked for.
        lowest_tone_hz: no tone is looked for below this.
    """
    fine = alpha_grid()
    alphas = fine[::2]
    zero = len(alphas) // 2
    grid = LogGrid(first_hz=lowest_hz, step=GRID_STEP, count=1).extended(bands[-1].high_hz)
    frames = max(1, int(duration_s / HOP_S))
    seconds = (np.arange(frames, dtype=np.float64) + 0.5) * HOP_S
    lines = np.zeros((frames, len(alphas), grid.count), np.float16)
    weight = np.ones(grid.count, np.float32)
    steady: list[float] = []
    for band in bands:
        first, last = grid.cell_of(band.low_hz), min(grid.count, grid.cell_of(band.high_hz))
        part = LogGrid(first_hz=float(grid.frequency_hz[first]), step=grid.step, count=last - first)
        weight[first:last] = news_share(band.frame_s) if len(bands) > 1 else ONE_BAND_WEIGHT
        hearing = _hearing(band, seconds, fine, band.frame_s)
        longer = _long_frames(band, seconds, part) if band is bands[0] else None
        for block in blocks(frames):
            ratio = to_log_grid(
                _best_of_three(_ratio(hearing, seconds[block])), hearing.bin_hz, part
            )
            if longer is not None:
                np.maximum(ratio[:, zero], longer[block], out=ratio[:, zero])
            lines[block, :, first:last] = line_evidence(ratio) * weight[first:last]
        low_hz = max(band.low_hz, LOWEST_STANDING_HZ) if band.rate_hz > 600 else band.low_hz
        steady += list(
            hearing.still_hz[(hearing.still_hz >= low_hz) & (hearing.still_hz < band.high_hz)]
        )
    return Maps(
        time_s=start_s + seconds,
        alphas=alphas,
        grid=grid,
        lines=lines,
        modulation=_modulation(envelopes, start_s + seconds, alphas, grid),
        present=line_evidence(np.full(grid.count, PRESENT_RATIO, np.float32)) * weight,
        steady_hz=np.unique(np.array(steady)),
        lowest_tone_hz=lowest_tone_hz,
    )


def blocks(frames: int) -> Iterator[slice]:
    """Consecutive slices of frames, so that long recordings need no more memory than short ones."""
    return (slice(k, min(k + BLOCK_FRAMES, frames)) for k in range(0, frames, BLOCK_FRAMES))


def _best_of_three(ratio: Floats) -> Floats:
    """Every second chirp rate with the better of its neighbours: half the states to search."""
    best = ratio[:, ::2].copy()
    np.maximum(best[:, 1:], ratio[:, 1::2], out=best[:, 1:])
    np.maximum(best[:, :-1], ratio[:, 1::2], out=best[:, :-1])
    return best


def news_share(frame_s: float, hop_s: float = HOP_S) -> float:
    """Share of a frame that the frame before did not hold; a Hann window acts half its length."""
    return min(1.0, 2.0 * hop_s / frame_s)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Hearing:
    """How one band is heard: chirp rates, frame, and what stands still in it."""

    band: Band
    alphas: NDArray[np.float64]
    frame_s: float
    standing: Floats
    still: Floats
    still_hz: NDArray[np.float64]
    bin_hz: float


def _hearing(
    band: Band, seconds: NDArray[np.float64], alphas: NDArray[np.float64], frame_s: float
) -> _Hearing:
    """What stands still in a band, from a sample of its frames."""
    power, bin_hz = _power(band, seconds[:: max(1, len(seconds) // 120)], alphas, frame_s)
    standing = _standing_power(power, bin_hz, width_hz=40.0 / frame_s)
    power /= _floor(power, bin_hz, frame_s) + STANDING_WEIGHT * standing
    still = _still_part(power)
    middle = len(alphas) // 2
    bins = np.union1d(np.flatnonzero(standing[middle] > 0), steady_bins(still[middle]))
    return _Hearing(
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


def _ratio(hearing: _Hearing, seconds: NDArray[np.float64]) -> Floats:
    """Power over local noise and over what stands still, compressed, of the frames at `seconds`."""
    power, bin_hz = _power(hearing.band, seconds, hearing.alphas, hearing.frame_s)
    power /= _floor(power, bin_hz, hearing.frame_s) + STANDING_WEIGHT * hearing.standing
    power /= hearing.still
    compress(power)
    return power


def _long_frames(band: Band, seconds: NDArray[np.float64], part: LogGrid) -> Floats:
    """Ratio of frames long enough for faint lines on plateaus, shape (frames, cells)."""
    hearing = _hearing(band, seconds, np.zeros(1), max(LONG_FRAME_S, 2.0 * band.frame_s))
    return np.concatenate(
        [
            to_log_grid(_ratio(hearing, seconds[block]), hearing.bin_hz, part)[:, 0]
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
# A lone band of a sensor's log has no other voice beside it; its strong lines may count more.
ONE_BAND_WEIGHT = 0.6


def _still_part(ratio: Floats) -> Floats:
    """What stands still, as a factor on the noise floor, shape (alphas, bins).

    A low quantile over time, scaled to the mean of an exponential law: 1 where only noise is,
    large under a tone that never moves, untouched by a line that passes or stays for a while.
    """
    some = ratio[:: max(1, len(ratio) // 120)]
    rank = int(STILL_QUANTILE * len(some))
    low = np.partition(some, rank, axis=0)[rank] / -np.log(1.0 - STILL_QUANTILE)
    return np.maximum(low, 0.7).astype(np.float32)


def _modulation(
    envelopes: Envelopes | None,
    time_s: NDArray[np.float64],
    alphas: NDArray[np.float64],
    grid: LogGrid,
) -> Halves:
    """Evidence for a beat at each rate, summed over the carrier bands."""
    if envelopes is None:
        cells = grid.extended(HIGHEST_MODULATION_HZ)
        return np.zeros((len(time_s), len(alphas), min(cells.count, grid.count)), np.float16)
    centres = np.round((time_s - envelopes.start_s) * envelopes.rate_hz).astype(np.int64)
    zero = len(alphas) // 2
    cells = grid.extended(HIGHEST_MODULATION_HZ)
    index = np.round((cells.frequency_hz - BEAT_BINS_HZ[0]) / MODULATION_BIN_HZ).astype(int)
    out = np.zeros((len(time_s), len(alphas), cells.count), np.float16)
    short = _BeatHearing.of(envelopes, centres, alphas, MODULATION_FRAME_S)
    long = _BeatHearing.of(envelopes, centres, np.zeros(1), LONG_FRAME_S)
    for block in blocks(len(time_s)):
        total = short.evidence(centres[block], block)
        longer = long.evidence(centres[block], block)[:, 0]
        np.maximum(total[:, zero], longer, out=total[:, zero])
        on_cells = np.take(total, np.clip(index, 0, len(BEAT_BINS_HZ) - 1), axis=-1)
        on_cells[..., index < 0] = 0.0
        out[block] = on_cells
    return out


@dataclass(frozen=True, kw_only=True, eq=False)
class _BeatHearing:
    """How beats are heard in frames of one length: kernels, and the noise floor of each row."""

    rows: NDArray[np.float32]
    kernels: tuple[Floats, Floats]
    floors: tuple[Floats, ...]
    alphas: int
    frame_s: float

    @staticmethod
    def of(
        envelopes: Envelopes,
        centres: NDArray[np.int64],
        alphas: NDArray[np.float64],
        frame_s: float,
    ) -> _BeatHearing:
        """The floors need the whole recording, at the chirp rate 0 alone."""
        rate_hz, frame = envelopes.rate_hz, round(frame_s * envelopes.rate_hz)
        still = warped_kernels(BEAT_BINS_HZ, np.zeros(1), frame=frame, rate_hz=rate_hz)
        return _BeatHearing(
            rows=envelopes.rows,
            kernels=warped_kernels(BEAT_BINS_HZ, alphas, frame=frame, rate_hz=rate_hz),
            floors=tuple(
                _modulation_floor(kernel_power(row, centres, still)) for row in envelopes.rows
            ),
            alphas=len(alphas),
            frame_s=frame_s,
        )

    def evidence(self, centres: NDArray[np.int64], block: slice) -> Floats:
        """Evidence for a beat at each rate, shape (frames, alphas, bins)."""
        total = np.zeros((len(centres), self.alphas, len(BEAT_BINS_HZ)), np.float32)
        news = news_share(self.frame_s)
        for row, floor in zip(self.rows, self.floors, strict=True):
            power = kernel_power(row, centres, self.kernels).reshape(total.shape)
            power /= floor[block][:, None, :]
            total += line_evidence(power, prior=MODULATION_PRIOR, limit=MODULATION_LIMIT / news)
        return total * np.float32(news)


def _modulation_floor(power: Floats) -> Floats:
    """Noise floor of envelope spectra (frames, cells): one shape for all frames, one level each."""
    from scipy.ndimage import percentile_filter, uniform_filter1d

    median = np.median(power, axis=0) / np.log(2.0)
    shape = percentile_filter(median, 40, size=41, mode="nearest")
    shape = np.maximum(uniform_filter1d(shape, 21, mode="nearest"), 1e-12)
    level = np.median(power / shape, axis=1) / np.log(2.0)
    return (np.maximum(level, 1e-6)[:, None] * shape[None, :]).astype(np.float32)
