"""How fast the drum turns in the wash motion, told by how often the lifters throw the water.

Each lifter that passes slaps: the loudness of a burst swells a whole number of times per turn.  How
many lifters there are is not known, so only the pace of the swelling is stated, in hertz, and the
two directions are compared by it.  A line in the spectrum of the loudness counts where noise as
red as the rest of it would reach it once in a hundred times (average of n periodograms: gamma law
with shape n, Bartlett 1948).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.track import Estimate
from spinlab.vibration.loudness import Loudness

PACE_HZ = (0.8, 6.0)  # 20 to 60 rpm, one to six swells a turn
LOWEST_BAND_HZ = 180.0  # below, hum and handling
EDGE_S = 1.5  # of a burst's ends, in which the drum gains and loses its speed
LEAST_BURSTS = 2
LEAST_S = 3.0
LINE_P = 0.01
ALIKE = (0.7, 1.4)  # speeds of two directions of one motion; beyond, another harmonic was taken
_RATE_HZ = 20.0
_STEP_HZ = 0.01
_AROUND_HZ = 1.2
_NEAR_HZ = 0.3  # a burst left out shifts a line by less


def pace(sound: Loudness, bursts: Sequence[tuple[float, float]]) -> Estimate | None:
    """Swells per second within bursts (start, end in s); None where none stands out."""
    frequency = np.arange(PACE_HZ[0] - _AROUND_HZ / 2, PACE_HZ[1] + _AROUND_HZ, _STEP_HZ)
    spectra, length = [], 0.0
    for start, end in bursts:
        series = _loudness(sound, start + EDGE_S, end - EDGE_S)
        if len(series) >= LEAST_S * _RATE_HZ:
            spectra.append(_spectrum(series, frequency))
            length += len(series) / _RATE_HZ
    if len(spectra) < LEAST_BURSTS:
        return None
    power = np.array(spectra)
    found, stands = _peak(power, frequency)
    cells = (PACE_HZ[1] - PACE_HZ[0]) * length / len(spectra)
    if _chance(stands, len(spectra), cells) > LINE_P:
        return None
    # Jackknife (Quenouille 1956): each burst left out in turn, the line looked for nearby.
    count = len(power)
    near = np.abs(frequency - found) < _NEAR_HZ
    others = [
        float(frequency[near][np.argmax(np.delete(power, k, axis=0).mean(axis=0)[near])])
        for k in range(count)
    ]
    spread = np.sqrt((count - 1) / count * np.sum((np.array(others) - np.mean(others)) ** 2))
    return Estimate(value=found, standard_uncertainty=float(np.hypot(spread, _STEP_HZ)))


def ratio(first: Estimate | None, second: Estimate | None) -> Estimate | None:
    """Speed of the second direction over that of the first, from their paces."""
    if first is None or second is None:
        return None
    relative = np.hypot(
        first.standard_uncertainty / first.value, second.standard_uncertainty / second.value
    )
    for harmonic in (1.0, 0.5, 2.0):
        value = harmonic * second.value / first.value
        if ALIKE[0] < value < ALIKE[1]:
            return Estimate(value=value, standard_uncertainty=float(value * relative))
    return None


def _loudness(sound: Loudness, start_s: float, end_s: float) -> NDArray[np.float64]:
    """Level above `LOWEST_BAND_HZ` at 20 values a second, dB, without its line."""
    inside = np.flatnonzero((sound.time_s >= start_s) & (sound.time_s < end_s))
    level, _ = sound.levels_db(inside, _RATE_HZ)
    if level.shape[1] < 8:
        return np.zeros(0)
    rows = sound.bands_hz[:, 0] >= LOWEST_BAND_HZ
    level = level[rows] if rows.any() else level
    x = np.linspace(-1.0, 1.0, level.shape[1])
    line = np.polynomial.polynomial.polyfit(x, level.T, 1)
    return np.asarray((level - line[0][:, None] - line[1][:, None] * x).mean(axis=0))


def _spectrum(series: NDArray[np.float64], frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """Periodogram under a Hann window, over its own background."""
    from scipy.ndimage import median_filter

    time = np.arange(len(series)) / _RATE_HZ
    weighted = series * np.hanning(len(series) + 2)[1:-1]
    power = np.abs(np.exp(-2j * np.pi * np.outer(frequency, time)) @ weighted) ** 2
    wide = median_filter(power, 2 * round(_AROUND_HZ / _STEP_HZ) + 1, mode="nearest")
    # The median of an exponential law is ln 2 of its mean.
    return np.asarray(power / np.maximum(wide / np.log(2.0), 1e-30))


def _peak(power: NDArray[np.float64], frequency: NDArray[np.float64]) -> tuple[float, float]:
    """Frequency of the highest mean power within the range, and how far it stands out."""
    mean = power.mean(axis=0)
    inside = (frequency >= PACE_HZ[0]) & (frequency <= PACE_HZ[1])
    best = int(np.argmax(np.where(inside, mean, 0.0)))
    return float(frequency[best]), float(mean[best])


def _chance(stands: float, count: int, cells: float) -> float:
    from scipy.stats import gamma

    return float(-np.expm1(cells * np.log1p(-min(gamma.sf(count * stands, count), 1.0 - 1e-12))))
