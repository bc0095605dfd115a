"""Fan-chirp frames: short spectra that stay sharp while the speed changes.

Every line locked to the drum shares one *relative* chirp rate, alpha = d(ln f)/dt.  Warping the
time of a frame by u = t + alpha t^2 / 2 turns all of them into steady tones at once, so one
Fourier transform per trial alpha sees the whole family (Weruaga and Kepesi 2007, "The fan-chirp
transform for non-stationary harmonic signals", Signal Processing 87:1504-1522).

Conventions: alpha in 1/s; spectra have shape (frames, alphas, bins).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

# A chirp rate is held for at most half a frame; beyond this the warp would fold back on itself.
ALPHA_LIMIT = 0.7
# Finest spacing of alpha: smears a 100 Hz line by two bins over a 1 s frame (f d_alpha T = 2 / T).
ALPHA_STEP = 0.02
ALPHA_GROWTH = 0.14


def alpha_grid(*, step: float = ALPHA_STEP, limit: float = ALPHA_LIMIT) -> NDArray[np.float64]:
    """Trial chirp rates in 1/s, symmetric, dense near zero where fast drums live.

    A given rpm/s is a large alpha only at low speed, where the lines lie low and need no fine
    alpha; so the spacing may grow with alpha.

    >>> grid = alpha_grid()
    >>> bool(grid[len(grid) // 2] == 0.0 and grid[-1] >= 0.7)
    True
    """
    # an even half keeps alpha = 0 among every second one
    half = 2 * int(np.ceil(np.arcsinh(limit * ALPHA_GROWTH / step) / ALPHA_GROWTH / 2))
    return step / ALPHA_GROWTH * np.sinh(ALPHA_GROWTH * np.arange(-half, half + 1))


def warp(alphas: NDArray[np.float64], frame: int, rate_hz: float) -> NDArray[np.float64]:
    """Sample offsets from the frame's centre at which each alpha reads, (alphas, frame)."""
    u = (np.arange(frame) - frame / 2) / rate_hz
    root = np.sqrt(np.maximum(1.0 + 2.0 * alphas[:, None] * u[None, :], 0.04))
    return np.clip(2.0 * u[None, :] / (1.0 + root) * rate_hz, -frame + 2, frame - 2)


def hann(frame: int) -> Floats:
    """Periodic Hann window, float32."""
    return np.hanning(frame + 1)[:-1].astype(np.float32)


def span(signals: Floats, first: int, last: int) -> Floats:
    """Samples `first` to `last` along the last axis, zeros where there are none."""
    length = signals.shape[-1]
    out = np.zeros((*signals.shape[:-1], last - first), np.float32)
    a, b = min(max(first, 0), length), min(max(last, 0), length)
    out[..., a - first : b - first] = signals[..., a:b]
    return out


def transform_length(frame: int) -> int:
    """Length that a frame is padded to, so that no line falls between two bins."""
    from scipy import fft

    return int(fft.next_fast_len(round(frame * 1.5), real=True))


def warped_power(
    signal: Floats,
    centres: NDArray[np.int64],
    alphas: NDArray[np.float64],
    *,
    frame: int,
    rate_hz: float,
    highest_hz: float,
    first_bin: int = 0,
) -> tuple[Floats, float]:
    """Power spectra of frames around `centres`, warped by each alpha.

    Args:
        signal: shape (n,), band-limited well below its Nyquist frequency.
        centres: shape (frames,), sample indices; frames reach past the ends as zeros.
        alphas: shape (alphas,), 1/s.
        frame: samples per frame.
        rate_hz: sample rate of `signal`.
        highest_hz: bins above this are not returned.
        first_bin: nor are bins before this one.

    Returns:
        power, float32 of shape (frames, alphas, bins), and the width of a bin in Hz.
    """
    from scipy import fft

    starts = np.clip(centres, 0, len(signal)) - frame
    first = int(starts.min()) if len(starts) else 0
    # only what these frames touch, for a long recording is read in many blocks
    around = span(signal, first, (int(starts.max()) if len(starts) else 0) + 2 * frame + 2)
    rise = np.diff(around)
    position = warp(alphas, frame, rate_hz) + frame
    whole = np.floor(position).astype(np.intp)
    part = (position - whole).astype(np.float32)
    window = hann(frame)
    share = window / window.sum()
    length = transform_length(frame)
    last = min(length // 2 + 1, int(highest_hz / rate_hz * length) + 2)
    out = np.empty((len(centres), len(alphas), last - first_bin), np.float32)
    low, high = np.empty(whole.shape, np.float32), np.empty(whole.shape, np.float32)
    padded = np.zeros((len(alphas), length), np.float32)
    for number, start in enumerate((starts - first).tolist()):
        # one index for all frames, and a rule for what lies outside: no bounds are checked
        np.take(around[start : start + 2 * frame + 1], whole, mode="wrap", out=low)
        np.take(rise[start : start + 2 * frame + 1], whole, mode="wrap", out=high)
        high *= part
        low += high
        # the warp gives a frame a mean of its own, which would leak into the lowest rates
        low -= (low @ share)[:, None]
        np.multiply(low, window, out=padded[:, :frame])
        spectrum = fft.rfft(padded, axis=-1)[:, first_bin:last]
        np.square(spectrum.real, out=out[number])
        out[number] += np.square(spectrum.imag)
    return out, rate_hz / length


def warped_kernels(
    frequency_hz: NDArray[np.float64],
    alphas: NDArray[np.float64],
    *,
    frame: int,
    rate_hz: float,
) -> tuple[Floats, Floats]:
    """Cosine and sine rows that read a short, slow signal at chosen frequencies and chirp rates.

    For frames of a few hundred samples one matrix product beats resampling and transforming each.

    Args:
        frequency_hz: shape (cells,).
        alphas: shape (alphas,), 1/s.
        frame: samples per frame.
        rate_hz: sample rate of the signal.

    Returns:
        two float32 arrays of shape (frame, alphas * cells), blind to a frame's mean, scaled so
        that white noise of variance v gives a mean power of v.
    """
    u = (np.arange(frame) - frame / 2) / rate_hz
    window = hann(frame).astype(np.float64)
    window /= np.sqrt((window**2).sum())
    warped = u[None, :] + 0.5 * alphas[:, None] * u[None, :] ** 2
    turns = warped[:, None, :] * frequency_hz[None, :, None]
    # whole turns are taken out while they are exact, so that single precision does for the rest
    turns -= np.rint(turns)
    phase = (2 * np.pi * turns).astype(np.float32)
    # weighting by du/dt makes it the same warp as resampling the frame
    weight = window * np.clip(1.0 + alphas[:, None] * u[None, :], 0.2, 1.8)
    return (
        _blind_rows(np.cos(phase), weight, window),
        _blind_rows(-np.sin(phase), weight, window),
    )


def _blind_rows(wave: Floats, weight: NDArray[np.float64], window: NDArray[np.float64]) -> Floats:
    """Weighted waves that are blind to a mean, as columns, shape (frame, alphas * cells)."""
    wave *= weight[:, None, :].astype(np.float32)
    wave -= wave.sum(axis=-1, keepdims=True) * (window / window.sum()).astype(np.float32)
    return np.ascontiguousarray(wave.reshape(-1, wave.shape[-1]).T)
