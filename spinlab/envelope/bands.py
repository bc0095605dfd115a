"""Squared envelopes of many bands at once, and which bands are worth demodulating.

A short-time Fourier transform whose window is shorter than the time between impacts is a bank of
squared envelopes (Antoni and Randall, Mechanical Systems and Signal Processing 20 (2006)
308-331; as a cyclic modulation spectrum: Antoni and Hanson, IEEE Journal of Oceanic Engineering
37 (2012) 478-493).  Every cell of it is divided by its own mean over about a second, so that a
loud resonance, a steady tone and a change of level with speed weigh no more than the rest; the
envelope of a band is the mean over its cells.

Conventions: envelopes have mean one and no unit; times in s on the file's own clock.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft, ndimage

from spinlab.envelope.kurtosis import Band
from spinlab.envelope.significance import noise_floor
from spinlab.speed.steady_tones import MAINS_HZ, off_mains_hz

Float = NDArray[np.float32]

# Time over which a cell's own mean is taken: long against a turn of the drum above 200 rpm, so
# that cage and shaft rates survive, short against a ramp.
LEVEL_S = 1.0
# One slam must not outweigh a minute: an impact is counted as at most this many times the mean.
HIGHEST = 30.0
# Hop of a quarter window: the envelope keeps what the window lets through.
HOPS_PER_WINDOW = 4
_PIECE_S = 20.0
# How far a mains multiple may lie from its nominal place, Hz; common practice for public grids.
MAINS_DRIFT_HZ = 0.4


@dataclass(frozen=True, kw_only=True, eq=False)
class BandEnvelopes:
    """Normalised squared envelopes of several bands over one stretch of time.

    Attributes:
        bands: the bands.
        values: shape (len(bands), n), mean about one.
        rate_hz: envelope samples per second.
        start_s: time of the first envelope sample.
    """

    bands: tuple[Band, ...]
    values: Float
    rate_hz: float
    start_s: float


@dataclass(frozen=True, kw_only=True, eq=False)
class BandMerit:
    """Why a band is trusted more or less than the others.

    Attributes:
        band: the band.
        kurtosis: spectral kurtosis of the band at the fastest steady part.
        cyclic_depth: modulation depth of all lines of its order spectrum that stand out and
            belong to no known cause.
        mains_db: strongest envelope line locked to the mains (50 or 60 Hz and multiples) over
            the envelope's noise, dB.
        slow_db: envelope noise at 2-8 Hz (syllables, knocks) over that at 30-100 Hz, dB.
        weight: share of the error budget that the band gets; the shares add up to one.
    """

    band: Band
    kurtosis: float
    cyclic_depth: float
    mains_db: float
    slow_db: float
    weight: float


def window_samples(rate_hz: float, fastest_hz: float) -> int:
    """Window for impacts at up to `fastest_hz`: about a quarter of their period, a power of two.

    A Hann window of T seconds passes envelope rates to about 1/T (-6 dB), so that the first
    harmonics of the fastest impacts survive.
    """
    exponent = int(np.floor(np.log2(rate_hz / (4.0 * fastest_hz) * 1.5)))
    return int(2 ** np.clip(exponent, 3, 12))


def cell_bands(bands: Sequence[Band], rate_hz: float, window: int) -> list[tuple[int, int]]:
    """First and past-the-last Fourier cell of each band (at least one cell, never the zeroth)."""
    step = rate_hz / window
    ranges = []
    for band in bands:
        first = int(np.clip(np.ceil(band.low_hz / step - 0.01), 1, window // 2))
        last = int(np.clip(np.floor(band.high_hz / step + 0.01), first, window // 2))
        ranges.append((first, last + 1))
    return ranges


def band_envelopes(
    values: NDArray[np.floating],
    rate_hz: float,
    bands: Sequence[Band],
    *,
    start_s: float,
    window: int,
    hops_per_window: int = HOPS_PER_WINDOW,
) -> BandEnvelopes:
    """Normalised squared envelopes of the bands over one uniformly sampled stretch.

    Args:
        values: shape (n,) or (channels, n), pre-whitened; channels are averaged as envelopes, so
            a bearing heard by one of them is not cancelled by the other.
        rate_hz: sample rate.
        bands: bands in Hz.
        start_s: time of the first sample.
        window: samples per short-time window, see `window_samples`.
        hops_per_window: envelope samples per window; more where rates above those that the window
            passes are looked at too, so that no image of a slow line lies among them.
    """
    rows = np.atleast_2d(values)
    hop = max(1, window // hops_per_window)
    ranges = cell_bands(bands, rate_hz, window)
    total: Float | None = None
    for row in rows:
        one = _one_channel(row, rate_hz, ranges, window, hop)
        total = one if total is None else total + one
    assert total is not None
    return BandEnvelopes(
        bands=tuple(bands),
        values=total / np.float32(len(rows)),
        rate_hz=rate_hz / hop,
        start_s=start_s + 0.5 * window / rate_hz,
    )


def _one_channel(
    row: NDArray[np.floating],
    rate_hz: float,
    ranges: list[tuple[int, int]],
    window: int,
    hop: int,
) -> Float:
    pieces = [
        _piece(part, rate_hz, ranges, window, hop)[:, lead : lead + keep]
        for part, lead, keep in _parts(row, rate_hz, window, hop)
    ]
    if not pieces:
        return np.ones((len(ranges), 0), dtype=np.float32)
    return np.concatenate(pieces, axis=1)


def _parts(
    row: NDArray[np.floating], rate_hz: float, window: int, hop: int
) -> Iterator[tuple[NDArray[np.floating], int, int]]:
    """Pieces with a margin either side, the frames to drop in front, the frames to keep."""
    frames = max(0, (len(row) - window) // hop + 1)
    size = max(1, round(_PIECE_S * rate_hz / hop))
    margin = round(LEVEL_S * rate_hz / hop)
    for first in range(0, frames, size):
        keep = min(size, frames - first)
        begin, end = max(0, first - margin), min(frames, first + keep + margin)
        yield row[begin * hop : (end - 1) * hop + window], first - begin, keep


def _piece(
    part: NDArray[np.floating],
    rate_hz: float,
    ranges: list[tuple[int, int]],
    window: int,
    hop: int,
) -> Float:
    lowest, past = min(a for a, _ in ranges), max(b for _, b in ranges)
    taper = np.hanning(window + 1)[:-1].astype(np.float32)
    frames = sliding_window_view(np.asarray(part, dtype=np.float32), window)[::hop]
    spectrum = fft.rfft(frames * taper, axis=1)[:, lowest:past]
    power = np.ascontiguousarray((spectrum.real**2 + spectrum.imag**2).T)
    length = max(3, round(LEVEL_S * rate_hz / hop))
    mean = ndimage.uniform_filter1d(power, length, axis=1, mode="nearest")
    silent = power.mean(axis=1, keepdims=True) * 1e-9 + 1e-30
    power /= np.maximum(mean, silent)
    np.minimum(power, HIGHEST, out=power)
    summed = np.concatenate(
        [np.zeros((1, power.shape[1]), np.float32), np.cumsum(power, axis=0, dtype=np.float32)]
    )
    first = np.array([a - lowest for a, _ in ranges])
    last = np.array([b - lowest for _, b in ranges])
    result: Float = (summed[last] - summed[first]) / (last - first)[:, None].astype(np.float32)
    return result


def without_mains(envelopes: BandEnvelopes, mains_hz: float | None = None) -> BandEnvelopes:
    """The same without what keeps to the mains and its multiples.

    Over a run-up that is a sliver of what turns; on a plateau hum would be a line of its own order.
    What turns just as fast as the mains there cannot be told from it, and is left to the rest.

    Args:
        envelopes: over one stretch of time.
        mains_hz: the mains frequency if known; both 50 and 60 Hz are taken out if None.
    """
    n = envelopes.values.shape[1]
    if n < 2:
        return envelopes
    size = fft.next_fast_len(n, real=True)
    pitch_hz = fft.rfftfreq(size, 1.0 / envelopes.rate_hz)
    kept = np.ones(len(pitch_hz), dtype=bool)
    for base in MAINS_HZ if mains_hz is None else (mains_hz,):
        kept &= off_mains_hz(pitch_hz, base) > MAINS_DRIFT_HZ
    values = np.empty_like(envelopes.values)
    # One band at a time: the spectra of all would hold as much again.
    for row, one in zip(values, envelopes.values, strict=True):
        row[:] = fft.irfft(fft.rfft(one - np.float32(1.0), size) * kept, size)[:n]
    values += np.float32(1.0)
    return replace(envelopes, values=values)


def interference_db(
    envelopes: Float, rate_hz: float, *, mains_hz: float | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far envelopes are locked to the mains, and how far they move like speech or knocks.

    Args:
        envelopes: shape (bands, n), mean about one.
        rate_hz: their sample rate.
        mains_hz: the mains frequency if known; both 50 and 60 Hz are tried if None.

    Returns:
        Per band the strongest mains line over the noise in dB (0 if none), and the noise at
        2-8 Hz over that at 30-100 Hz in dB; zeros if the record is too short to tell.
    """
    count = len(envelopes)
    if envelopes.shape[1] / rate_hz < 4.0:
        return np.zeros(count), np.zeros(count)
    group = max(1, int(rate_hz / 520.0))
    n = envelopes.shape[1] // group
    slow = envelopes[:, : n * group].reshape(count, n, group).mean(axis=2)
    slow -= slow.mean(axis=1, keepdims=True)
    step = rate_hz / group / n
    power = np.abs(fft.rfft(slow * np.hanning(n).astype(np.float32), axis=1)) ** 2
    floor = noise_floor(power.astype(np.float64), step, least_width=5.0, share=0.0).level
    highest = np.ones(count)
    for base in MAINS_HZ if mains_hz is None else (mains_hz,):
        for multiple in (1, 2, 3, 4):
            first = round((base * multiple - MAINS_DRIFT_HZ) / step)
            last = round((base * multiple + MAINS_DRIFT_HZ) / step) + 1
            if last < power.shape[1]:
                lines = power[:, first:last] / floor[:, first:last]
                highest = np.maximum(highest, lines.max(axis=1))
    syllables = np.median(floor[:, round(2 / step) : round(8 / step)], axis=1)
    usual = np.median(floor[:, round(30 / step) : round(100 / step)], axis=1)
    return 10 * np.log10(highest), np.maximum(0.0, 10 * np.log10(syllables / usual))
