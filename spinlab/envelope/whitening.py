"""Pre-whitening: taking the predictable part (drum and motor tones) out before demodulation.

Bearing impacts are nearly random in phase because the balls slip; shaft-locked tones are not.
Three ways, from the plainest to the one used in detection:

`cepstrum_prewhitened`  every spectral line gets the same magnitude (cepstrum editing with all
    but the zeroth coefficient set to zero): Borghesani, Pennacchi, Randall, Sawalhi, Ricci,
    Mechanical Systems and Signal Processing 36 (2013) 370-384.
`linear_prediction_residual`  what an autoregressive model cannot foretell: Randall and Antoni,
    Mechanical Systems and Signal Processing 25 (2011) 485-520, section 4.2.
`line_limited`  short blocks whose spectrum is flattened by its own local median and whose lines
    are cut off a few times above it.  Short blocks, because on a ramp the tones move: what is a
    line over 60 s is a smear.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft, ndimage

Float = NDArray[np.float32]

# A block a quarter of a second long: on a ramp of 60 rpm/s a motor tone at 5 kHz (drum order
# 250 at 1200 rpm) moves by 60 Hz in it, a hundredth of its own frequency.
BLOCK_S = 0.25
# Width of the local median; far wider than a line (4 Hz), narrower than a resonance.
MEDIAN_HZ = 150.0
# A Rayleigh-distributed magnitude passes 4 times its median with p = 1.5e-5: noise is left as
# it is, lines are not.
LIMIT = 4.0
_ROWS_AT_ONCE = 64
# The level that a block is brought to is read over this time: a cage turns 3 to 8 times a second,
# and a level of each block's own would take away what swells with it.
LEVEL_S = 1.0


def cepstrum_prewhitened(values: NDArray[np.floating]) -> NDArray[np.float64]:
    """The signal with every spectral line set to magnitude one, phases kept.

    Args:
        values: shape (n,), any unit.

    Returns:
        Shape (n,), no unit.
    """
    spectrum = fft.rfft(np.asarray(values, dtype=np.float64))
    magnitude = np.abs(spectrum)
    phasor = np.divide(
        spectrum, magnitude, out=np.zeros_like(spectrum), where=magnitude > magnitude.max() * 1e-15
    )
    result: NDArray[np.float64] = fft.irfft(phasor, len(values))
    return result


def linear_prediction_residual(
    values: NDArray[np.floating], order: int = 100
) -> NDArray[np.float64]:
    """What the autoregressive model of `order` coefficients does not foretell.

    The coefficients solve the Yule-Walker equations; the first `order` samples, for which the
    model has no past, are set to zero.

    Args:
        values: shape (n,), n well above `order`.
        order: number of past samples used.
    """
    from scipy.linalg import solve_toeplitz
    from scipy.signal import lfilter

    x = np.asarray(values, dtype=np.float64) - np.mean(values)
    size = fft.next_fast_len(2 * len(x), real=True)
    covariance = fft.irfft(np.abs(fft.rfft(x, size)) ** 2, size)[: order + 1]
    if covariance[0] <= 0:
        return np.zeros_like(x)
    # A grain of white noise (-90 dB) keeps the equations solvable for pure tones.
    covariance[0] *= 1.0 + 1e-9
    coefficients = solve_toeplitz(covariance[:-1], covariance[1:])
    residual: NDArray[np.float64] = lfilter(np.concatenate([[1.0], -coefficients]), [1.0], x)
    residual[:order] = 0.0
    return residual


def line_limited(
    values: NDArray[np.floating],
    rate_hz: float,
    *,
    block_s: float = BLOCK_S,
    limit: float = LIMIT,
    level_s: float = LEVEL_S,
) -> Float:
    """The signal with a flat spectrum and no line above `limit` times its vicinity.

    Half-overlapping blocks under a sine window (applied before and after) add up to the signal.

    Args:
        values: shape (n,), any unit.
        rate_hz: sample rate.
        block_s: length of a block, rounded to a power of two of samples.
        limit: highest magnitude left, in multiples of the local median magnitude of its block.
        level_s: time over which the medians that flatten the spectrum are averaged; what swells
            more slowly is held level, and each block by itself where it is 0.

    Returns:
        Shape (n,), no unit, close to unit variance.
    """
    size = 2 ** max(4, round(np.log2(block_s * rate_hz)))
    hop = size // 2
    window = np.sin(np.pi * (np.arange(size) + 0.5) / size).astype(np.float32)
    n, width = len(values), max(8, round(MEDIAN_HZ * size / rate_hz))
    padded = np.zeros(n + 3 * size, dtype=np.float32)
    padded[size : size + n] = values
    blocks = sliding_window_view(padded, size)[::hop]
    # A first pass for the medians: spectra of minutes are too much to keep.
    medians = np.concatenate(
        [_medians(np.abs(part), width) for _, part in _spectra(blocks, window)]
    )
    levels = _over_time(medians, max(1, round(level_s * rate_hz / hop)))
    out = np.zeros_like(padded)
    for first, spectra in _spectra(blocks, window):
        rows = slice(first, first + len(spectra))
        spectra *= _gain(np.abs(spectra), medians[rows], levels[rows], width, limit)
        pieces = fft.irfft(spectra, size, axis=1) * window
        for row, piece in enumerate(pieces, start=first):
            out[row * hop : row * hop + size] += piece
    return out[size : size + n]


def _spectra(blocks: Float, window: Float) -> Iterator[tuple[int, NDArray[np.complex64]]]:
    """Spectra of some blocks at once, with the number of the first."""
    for first in range(0, len(blocks), _ROWS_AT_ONCE):
        yield first, fft.rfft(blocks[first : first + _ROWS_AT_ONCE] * window, axis=1)


def _medians(magnitude: Float, width: int) -> Float:
    """Median magnitude of each `width` lines, shape (rows, lines // width)."""
    rows, lines = magnitude.shape
    count = max(1, lines // width)
    width = min(width, lines)
    found: Float = np.median(magnitude[:, : count * width].reshape(rows, count, width), axis=2)
    return found


def _over_time(medians: Float, blocks: int) -> Float:
    """Root mean square of medians over so many blocks: what a swell leaves of their level."""
    power = ndimage.uniform_filter1d(
        medians.astype(np.float64) ** 2, blocks, axis=0, mode="nearest"
    )
    level: Float = np.sqrt(np.maximum(power, 0.0)).astype(np.float32)
    return level


def _gain(magnitude: Float, medians: Float, levels: Float, width: int, limit: float) -> Float:
    """Factor that flattens each row by its level and holds its lines at `limit` medians."""
    lines = magnitude.shape[1]
    own, level = (_spread(each, lines, min(width, lines)) for each in (medians, levels))
    # Unit-variance noise under the sine window has lines of mean square size/2 = lines - 1,
    # and a Rayleigh magnitude's median is sqrt(ln 2) of its root mean square.
    scale = np.float32(np.sqrt((lines - 1) * np.log(2.0)))
    silent = np.maximum(levels.max(axis=1, keepdims=True) * 1e-6, 1e-30)
    held = np.minimum(1.0, limit * own / np.maximum(magnitude, silent))
    gain: Float = np.where(level > silent, scale / np.maximum(level, silent) * held, 0.0)
    return gain.astype(np.float32)


def _spread(medians: Float, lines: int, width: int) -> Float:
    """Medians of each `width` lines, drawn through all lines by straight pieces."""
    count = medians.shape[1]
    place = np.clip((np.arange(lines) - 0.5 * width) / width, 0.0, max(0.0, count - 1.0))
    left = np.minimum(place.astype(np.int64), max(0, count - 2))
    share = (place - left).astype(np.float32)
    right = np.minimum(left + 1, count - 1)
    drawn: Float = medians[:, left] * (1 - share) + medians[:, right] * share
    return drawn
