"""Levels of orders of the motor's shaft at each speed of a recording."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spinlab.drive.spectra import OrderSpectra

_REACH_CELLS = 4  # the ratio and the track are not perfect: a line may lie so far off
_SPEED_RPM = 100.0  # width of what counts as one speed


def speed_groups(spectra: OrderSpectra) -> list[NDArray[np.int64]]:
    """Windows of each hundred rpm, held or passed through, two at least."""
    bins = np.round(spectra.speed_rpm / _SPEED_RPM)
    groups = [np.flatnonzero(bins == b) for b in np.unique(bins[np.isfinite(bins)])]
    return [inside for inside in groups if len(inside) >= 2]


def levels(
    spectra: OrderSpectra, speeds: list[NDArray[np.int64]], orders: Sequence[int], ratio: float
) -> NDArray[np.float64]:
    """Level in dB of each order at each speed; of an order not heard, that of the noise."""
    power = [
        [strongest(spectra, inside, order * ratio)[1] for inside in speeds] for order in orders
    ]
    return np.asarray(10.0 * np.log10(np.array(power).reshape(len(orders), len(speeds)) + 1e-30))


def strongest(
    spectra: OrderSpectra, inside: NDArray[np.int64], order: float
) -> tuple[float, float]:
    """Excess over the noise, and power, of the cell about an order that stands out most."""
    cell = round(order / spectra.step)
    reach = slice(max(cell - _REACH_CELLS, 0), cell + _REACH_CELLS + 1)
    white = spectra.white[inside, reach].mean(axis=0)
    best = int(np.argmax(white))
    return float(white[best]), float(spectra.power[inside, reach].mean(axis=0)[best])
