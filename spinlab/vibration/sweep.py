"""One pass of the drum through the tub's resonance: what a mode would show, and how it is read.

The response to a rotating unbalance is computed along the drum's own angle and read by the same
windows of a few turns as the log, so that a fast sweep costs neither of them anything.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """The drum's angle in one passage, and the windows' projector (w, n)."""

    turns: NDArray[np.float64]
    rate: float
    project: NDArray[np.complex128]
    time: NDArray[np.float64]
    centres: NDArray[np.int64]

    def read(self, rows: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Complex first-order amplitude in each window, (..., w)."""
        real, imaginary = self.project.real, self.project.imag
        return np.asarray(rows @ real.T + 1j * (rows @ imaginary.T))

    @property
    def drum_hz(self) -> NDArray[np.float64]:
        """Drum rate at the windows' centres."""
        return np.asarray(np.gradient(self.turns, self.time)[self.centres])

    def response(self, natural_hz: float, damping: float) -> NDArray[np.float64]:
        """Size of the first order that unit unbalance would show in each window."""
        swept = swept_response(self.turns, self.rate, natural_hz=natural_hz, damping_ratio=damping)
        return np.abs(self.read(swept))

    def grid(self, range_hz: tuple[float, float]) -> dict[tuple[float, float], NDArray[np.float64]]:
        """Responses on a coarse grid of frequency and damping, to start fits from."""
        low, high = float(self.drum_hz.min()), float(self.drum_hz.max())
        frequencies = np.geomspace(max(range_hz[0], 1.05 * low), min(range_hz[1], 0.9 * high), 14)
        return {
            (float(f), z): self.response(float(f), z)
            for f in frequencies
            for z in (0.025, 0.06, 0.13, 0.27)
        }


def swept_response(
    turns: NDArray[np.float64], rate_hz: float, *, natural_hz: float, damping_ratio: float
) -> NDArray[np.float64]:
    """Acceleration of one mode under unit rotating unbalance, shape (n,), starting from rest.

    The force is filtered in the frequency domain, padded until the mode's memory has died.
    """
    from scipy.fft import irfft, next_fast_len, rfft

    angle = 2.0 * np.pi * turns
    speed = np.gradient(angle) * rate_hz
    force = np.real((speed**2 - 1j * np.gradient(speed) * rate_hz) * np.exp(1j * angle))
    w0 = 2.0 * np.pi * natural_hz
    memory = int(min(7.0 / (damping_ratio * w0), 30.0) * rate_hz)
    length = next_fast_len(len(force) + memory, real=True)
    w = 2.0 * np.pi * np.arange(length // 2 + 1) * rate_hz / length
    gain = -(w**2) / (w0**2 - w**2 + 2j * damping_ratio * w0 * w)
    return np.asarray(irfft(rfft(force, length) * gain, length)[: len(force)])


def windows_of(turns: NDArray[np.float64], length_turns: float) -> list[tuple[int, int]]:
    """Sample ranges of windows of so many turns, each a quarter further."""
    starts = np.arange(0.0, turns[-1] - length_turns, length_turns / 4.0)
    first = np.searchsorted(turns, starts)
    last = np.searchsorted(turns, starts + length_turns)
    return [(int(a), int(b)) for a, b in zip(first, last, strict=True) if b - a >= 8]


def projector(
    turns: NDArray[np.float64], windows: list[tuple[int, int]], *, order: float = 1.0
) -> NDArray[np.complex128]:
    """Rows that turn samples into the complex amplitude of an order in each window, (w, n)."""
    rows = np.zeros((len(windows), len(turns)), dtype=complex)
    for w, (a, b) in enumerate(windows):
        angle = 2.0 * np.pi * order * turns[a:b]
        ramp = np.linspace(-1.0, 1.0, b - a)
        weight = np.hanning(b - a + 2)[1:-1]
        design = np.column_stack([np.ones(b - a), ramp, np.cos(angle), np.sin(angle)])
        weighted = design * weight[:, None]
        solve = np.linalg.solve(design.T @ weighted, weighted.T)
        rows[w, a:b] = solve[2] - 1j * solve[3]
    return rows
