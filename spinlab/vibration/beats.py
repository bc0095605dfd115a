"""Slow beats and hunting: 0.05 to 2 Hz, of the speed and of the amplitude, told apart.

A speed that swings makes the controller or the tacho suspect; an amplitude that swings while the
speed stands still means mass that moves in the drum (a ring of water, ballast come loose) or two
sources close together.  Each line is tested against the noise around it (Fisher 1929: the largest
of m periodogram ordinates, exact for white noise; the series is pre-whitened by its own lag-one
correlation, because slow series are red).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.phrase import say
from spinlab.speed.track import Estimate

BAND_HZ = (0.05, 2.0)
LEAST_CYCLES = 3.0
_CORRELATIONS = 1.0 - np.geomspace(0.01, 1.0, 60)  # lag-one, from 0.99 down to 0


@dataclass(frozen=True, kw_only=True)
class Beat:
    """The strongest slow line of a series, or the reason why none could be looked for.

    Attributes:
        rate_hz: its rate.
        depth_percent: its amplitude in percent of the series' mean.
        p_value: chance of a line as strong in noise alone.
        lowest_rate_hz, highest_rate_hz: what this length and step can show.
        reason: why there is no number; "" otherwise.
    """

    rate_hz: Estimate | None = None
    depth_percent: Estimate | None = None
    p_value: float | None = None
    lowest_rate_hz: float | None = None
    highest_rate_hz: float | None = None
    reason: str = ""


def beat(
    time_s: NDArray[np.float64],
    values: NDArray[np.float64],
    *,
    band_hz: tuple[float, float] = BAND_HZ,
) -> Beat:
    """The strongest slow line in an evenly spaced series, shape (n,).

    Args:
        time_s: shape (n,), even.
        values: speed in rpm or an amplitude; not-a-number is bridged if short.
        band_hz: where to look.
    """
    good = np.isfinite(values)
    if good.sum() < 16 or good.mean() < 0.8:
        return Beat(reason="the plateau is too short, or the series has too many holes")
    step = float(np.median(np.diff(time_s)))
    length = step * len(time_s)
    low = max(band_hz[0], LEAST_CYCLES / length)
    high = min(band_hz[1], 0.4 / step)
    if high <= low:
        return Beat(
            reason=say(
                "{length:.0f} s hold fewer than {least_cycles:g} cycles of any beat",
                length=length,
                least_cycles=LEAST_CYCLES,
            )
        )
    series = np.interp(time_s, time_s[good], values[good])
    mean = float(series.mean())
    trend = np.polynomial.Polynomial.fit(time_s, series, 1)(time_s)
    departure = series - trend
    frequency, power = _periodogram(departure, step)
    inside = (frequency >= low) & (frequency <= high)
    count = int(inside.sum())
    if count < 4 or not np.any(departure):
        return Beat(lowest_rate_hz=low, highest_rate_hz=high, reason="nothing swings at all")
    white = power / _red_background(departure, frequency, step)
    peak = int(np.flatnonzero(inside)[np.argmax(white[inside])])
    p = _fisher(float(white[peak] / white[inside].sum()), count)
    rate, depth, depth_u, rate_u = _refine(time_s, departure, float(frequency[peak]), 1.0 / length)
    return Beat(
        rate_hz=Estimate(value=rate, standard_uncertainty=rate_u),
        depth_percent=Estimate(
            value=100.0 * depth / mean, standard_uncertainty=100.0 * depth_u / mean
        ),
        p_value=p,
        lowest_rate_hz=low,
        highest_rate_hz=high,
    )


def _periodogram(
    values: NDArray[np.float64], step: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    spectrum = np.abs(np.fft.rfft(values)) ** 2
    frequency = np.arange(len(spectrum)) / (len(values) * step)
    return np.asarray(frequency, dtype=np.float64), np.asarray(spectrum, dtype=np.float64)


def _red_background(
    values: NDArray[np.float64], frequency: NDArray[np.float64], step: float
) -> NDArray[np.float64]:
    """Shape of first-order autoregressive noise that fits this series best.

    The correlation maximises Whittle's likelihood (Whittle 1953) over the periodogram without its
    largest twentieth, so that a line does not count as redness.
    """
    _, power = _periodogram(values, step)
    kept = np.arange(1, len(power))
    kept = kept[power[kept] <= np.quantile(power[kept], 0.95)]
    cosine = np.cos(2.0 * np.pi * frequency * step)
    best, shape = np.inf, np.ones_like(frequency)
    for rho in _CORRELATIONS:
        trial = 1.0 / (1.0 - 2.0 * rho * cosine + rho**2)
        misfit = np.log(np.mean(power[kept] / trial[kept])) + np.mean(np.log(trial[kept]))
        if misfit < best:
            best, shape = misfit, trial
    return shape


def _fisher(share: float, count: int) -> float:
    """P(largest share >= g) = sum_j (-1)^(j-1) C(m, j) (1 - j g)^(m-1) (Fisher 1929)."""
    if share >= 1.0:
        return 0.0
    # The first term bounds the sum from above and is exact for g > 1/2.
    return float(min(1.0, count * (1.0 - share) ** (count - 1)))


def _refine(
    time_s: NDArray[np.float64], values: NDArray[np.float64], rate: float, cell: float
) -> tuple[float, float, float, float]:
    """Rate and amplitude of one sine by least squares around a periodogram peak."""
    from scipy.optimize import minimize_scalar

    t = time_s - time_s.mean()

    def fit(f: float) -> tuple[NDArray[np.float64], float]:
        design = np.column_stack([np.cos(2 * np.pi * f * t), np.sin(2 * np.pi * f * t)])
        solution, *_ = np.linalg.lstsq(design, values, rcond=None)
        return values - design @ solution, float(np.hypot(*solution))

    best = minimize_scalar(
        lambda f: float(np.sum(fit(f)[0] ** 2)),
        bounds=(max(rate - cell, 1e-3), rate + cell),
        method="bounded",
    )
    rest, amplitude = fit(float(best.x))
    noise = np.sqrt(rest @ rest / max(len(t) - 3, 1))
    amplitude_u = noise * np.sqrt(2.0 / len(t)) * _redness(rest)
    length = t[-1] - t[0]
    rate_u = np.sqrt(6.0) / np.pi * amplitude_u / max(amplitude, 1e-30) / length / np.sqrt(2.0)
    return float(best.x), amplitude, float(amplitude_u), float(min(rate_u, cell))


def _redness(values: NDArray[np.float64]) -> float:
    """Inflation of a standard error by lag-one correlation, sqrt((1 + r) / (1 - r)), at most 4."""
    v = values - values.mean()
    r = float(np.clip((v[1:] @ v[:-1]) / max(v @ v, 1e-300), 0.0, 0.88))
    return float(np.sqrt((1.0 + r) / (1.0 - r)))
