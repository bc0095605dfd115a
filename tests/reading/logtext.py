"""Acceleration logs as text, in the many shapes that phone apps give them; all invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

GRAVITY = 9.80665  # m/s2, exact: 3rd CGPM (1901)


def shaken(rate_hz: float, seconds: float, *, tone_hz: float = 12.0) -> NDArray[np.float64]:
    """Time and x, y, z in m/s2, shape (4, n): at rest for a fifth, then shaken along x."""
    time = np.arange(round(rate_hz * seconds)) / rate_hz
    noise = np.random.default_rng(5).normal(scale=0.02, size=(3, len(time)))
    noise[0] += np.where(time > seconds / 5, 2.0 * np.sin(2 * np.pi * tone_hz * time), 0.0)
    noise[2] += GRAVITY
    return np.vstack([time, noise])


def write_rows(
    path: Path,
    columns: NDArray[np.float64],
    *,
    header: str = "",
    separator: str = ",",
    decimal: str = ".",
    digits: int = 6,
    after: str = "",
    encoding: str = "utf-8",
    stamp: Callable[[float], str] | None = None,
) -> Path:
    """Write columns of shape (columns, n) as rows of text."""
    lines = [header] if header else []
    for row in columns.T:
        cells = [f"{value:.{digits}f}".replace(".", decimal) for value in row]
        if stamp is not None:
            cells[0] = stamp(float(row[0]))
        lines.append(separator.join(cells))
    path.write_bytes(("\n".join(lines) + "\n" + after).encode(encoding))
    return path


def strongest_hz(row: NDArray[np.float32], rate_hz: float) -> float:
    """Frequency of the strongest line, by a transform padded to 1 mHz or so."""
    points = 2**18
    window = np.hanning(len(row))
    spectrum = np.abs(np.fft.rfft((row - row.mean()) * window, points))
    return float(np.argmax(spectrum) * rate_hz / points)
