"""Waveforms that repeat with an angle: one table, read at any phase, is all harmonics at once."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from spinlab.simulate.streams import Samples

TABLE_SIZE = 16384  # linear reading errs by under -60 dB up to order 288


def wave_table(orders: Mapping[int, float], rng: np.random.Generator) -> Samples:
    """One turn of a waveform with the given amplitudes per order, random phases, unit power."""
    spectrum = np.zeros(TABLE_SIZE // 2 + 1, dtype=np.complex128)
    for order in sorted(orders):
        spectrum[order] = orders[order] * np.exp(2j * np.pi * rng.random())
    table = np.fft.irfft(spectrum, TABLE_SIZE)
    rms = np.sqrt(np.mean(table**2))
    result: Samples = (table / rms if rms > 0.0 else table).astype(np.float32)
    return result


def read_wave(table: Samples, turns: NDArray[np.float64]) -> Samples:
    """The waveform at each angle, shape as `turns`."""
    place = (turns - np.floor(turns)) * TABLE_SIZE
    index = place.astype(np.int32)
    part = (place - index).astype(np.float32)
    index &= TABLE_SIZE - 1
    rise = np.roll(table, -1) - table
    result: Samples = table[index] + part * rise[index]
    return result
