"""Steady tones: what stands still, its likely source, and the mains frequency among it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.maps import Maps
from spinlab.speed.track import Estimate, SteadyLine

# The world's mains frequencies (IEC 60038).
MAINS_HZ = (50.0, 60.0)
# A tone within this of a multiple of the mains frequency is taken for mains.
MAINS_REACH_HZ = 0.6


def off_mains_hz(rate_hz: NDArray[np.floating], mains_hz: float) -> NDArray[np.floating]:
    """How far each rate lies from the nearest multiple of a mains frequency, Hz.

    Infinite below half of it: no multiple is near.
    """
    off_hz = np.abs(rate_hz - mains_hz * np.round(rate_hz / mains_hz))
    return np.where(rate_hz < 0.5 * mains_hz, np.inf, off_hz)


def steady_lines(maps: Maps) -> tuple[SteadyLine, ...]:
    """Tones that stand still, with their likely source."""
    out: list[SteadyLine] = []
    for frequency in maps.steady_hz:
        if out and frequency - out[-1].frequency_hz < 1.6:
            continue
        out.append(
            SteadyLine(
                frequency_hz=float(frequency),
                level_db=float("nan"),
                likely_source=_source(frequency),
            )
        )
    return tuple(out)


def _source(frequency_hz: float) -> str:
    for mains in MAINS_HZ:
        multiple = round(frequency_hz / mains)
        if multiple >= 1 and abs(frequency_hz - multiple * mains) < MAINS_REACH_HZ:
            return f"mains ({mains:.0f} Hz) x {multiple}"
    return "a pump, a fan or a resonance that does not follow the drum"


# Multiples of the mains that must stand for it to be told, and the grid's usual drift.
LEAST_MAINS_LINES = 2
MOST_DRIFT_HZ = 0.3
LEAST_MAINS_SIGMA_HZ = 0.05


def mains(steady_hz: NDArray[np.float64]) -> Estimate | None:
    """The mains frequency, where tones stand at two or more of its multiples."""
    best: Estimate | None = None
    most = LEAST_MAINS_LINES - 1
    for nominal in MAINS_HZ:
        multiple = np.maximum(np.round(steady_hz / nominal), 1.0)
        rate = steady_hz / multiple
        near = np.abs(rate - nominal) < MOST_DRIFT_HZ
        count = len(np.unique(multiple[near]))
        if count > most:
            most = count
            value = float(np.average(rate[near], weights=multiple[near]))
            spread = float(np.std(rate[near])) / np.sqrt(count)
            best = Estimate(value=value, standard_uncertainty=max(spread, LEAST_MAINS_SIGMA_HZ))
    return best
