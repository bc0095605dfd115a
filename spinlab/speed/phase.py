"""Phase: the finest reading of a strong line, from how its phase runs against the course.

The line is brought to rest by the course's own turns and low-passed; the phase between successive
samples of what remains is the course's error (pulse-pair estimate; Kay 1989, IEEE Trans. ASSP
37:1987-1990, gives its relation to the Cramer-Rao bound).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.evidence import Floats
from spinlab.speed.follow import Course

# Bandwidth about the line, pass by pass: wide enough for a coarse course, then narrow.
REST_RATES_HZ = (10.0, 6.0, 4.0)
WINDOW_S = 1.5
# Least share of the power near the line that must keep its phase from sample to sample.
LEAST_COHERENCE = 0.85


def phase_correction(
    signal: Floats,
    rate_hz: float,
    start_s: float,
    course: Course,
    time_s: NDArray[np.float64],
    *,
    order: float = 1.0,
    rest_rate_hz: float = REST_RATES_HZ[-1],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Correction of ln(rate) per frame and its standard uncertainty; nan where not coherent.

    Args:
        signal: shape (n,).
        rate_hz: its sample rate.
        start_s: time of its first sample.
        course: the rate, within about 1 Hz of the truth.
        time_s: frame centres.
        order: the order whose line is strong.
        rest_rate_hz: samples per second of the resting line: its bandwidth.
    """
    from scipy.ndimage import uniform_filter1d
    from scipy.signal import resample_poly

    times = start_s + np.arange(len(signal)) / rate_hz
    pitch = order * course.rate_hz(times)
    turns = np.concatenate([[0.0], np.cumsum(0.5 * (pitch[1:] + pitch[:-1])) / rate_hz])
    resting = signal * np.exp(-2j * np.pi * turns)
    factor = max(1, int(rate_hz / rest_rate_hz))
    slow = resample_poly(resting, 1, factor)
    step_s = factor / rate_hz
    pair = slow[1:] * np.conj(slow[:-1])
    power = 0.5 * (np.abs(slow[1:]) ** 2 + np.abs(slow[:-1]) ** 2)
    size = max(3, round(WINDOW_S / step_s))
    smooth = uniform_filter1d(pair.real, size) + 1j * uniform_filter1d(pair.imag, size)
    level = uniform_filter1d(power, size)
    coherence = np.abs(smooth) / np.maximum(level, 1e-30)
    at = start_s + (np.arange(len(pair)) + 0.5) * step_s
    error_hz = np.angle(smooth) / (2 * np.pi * step_s)
    lost = np.sqrt(np.maximum(1 - coherence**2, 1e-6) / (2 * size)) / np.maximum(coherence, 0.1)
    sigma_hz = lost / (2 * np.pi * step_s)
    local = order * course.rate_hz(time_s)
    correction = np.interp(time_s, at, error_hz) / local
    sigma = np.interp(time_s, at, sigma_hz) / local
    sound = np.interp(time_s, at, coherence) > LEAST_COHERENCE
    return np.where(sound, correction, np.nan), np.where(sound, sigma, np.nan)
