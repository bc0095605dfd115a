"""Spectral kurtosis and the fast kurtogram: in which band is the signal impulsive?

The spectral kurtosis of a band is the excess kurtosis of its complex envelope,
E|x|^4 / (E|x|^2)^2 - 2: 0 for stationary noise, -1 for a steady tone, high for a train of
impacts.  The kurtogram looks at it over a 1/3-binary tree of centre frequencies and widths:
Antoni, Mechanical Systems and Signal Processing 21 (2007) 108-124.  Here each band is cut out
of one Fourier transform with soft edges instead of by a tree of short filters; the tree of
bands is the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

# Share of a band's width over which its edges fall off, either side.
EDGE_SHARE = 0.1


@dataclass(frozen=True, kw_only=True, order=True)
class Band:
    """A frequency band in Hz."""

    low_hz: float
    high_hz: float

    @property
    def centre_hz(self) -> float:
        """Middle of the band."""
        return 0.5 * (self.low_hz + self.high_hz)

    @property
    def width_hz(self) -> float:
        """Width of the band."""
        return self.high_hz - self.low_hz


@dataclass(frozen=True, kw_only=True, eq=False)
class Kurtogram:
    """Spectral kurtosis of every band of the tree.

    Attributes:
        bands: the bands, widest first, each level in order of frequency.
        kurtosis: shape (len(bands),), excess kurtosis of the complex envelope.
    """

    bands: tuple[Band, ...]
    kurtosis: NDArray[np.float64]

    @property
    def best(self) -> Band:
        """The band with the highest kurtosis."""
        return self.bands[int(np.argmax(self.kurtosis))]

    def at(self, band: Band) -> float:
        """Kurtosis of the tree's band that overlaps `band` best (shared over joint width)."""
        shared = [
            max(0.0, min(b.high_hz, band.high_hz) - max(b.low_hz, band.low_hz))
            / (max(b.high_hz, band.high_hz) - min(b.low_hz, band.low_hz))
            for b in self.bands
        ]
        return float(self.kurtosis[int(np.argmax(shared))])


def band_tree(low_hz: float, high_hz: float, *, least_width_hz: float) -> tuple[Band, ...]:
    """Split a range into 1, 2, 3, 4, 6 ... 24 equal bands, none below `least_width_hz`."""
    parts = (1, 2, 3, 4, 6, 8, 12, 16, 24)
    bands: list[Band] = []
    for count in parts:
        width = (high_hz - low_hz) / count
        if count > 1 and width < least_width_hz:
            break
        bands += [
            Band(low_hz=low_hz + i * width, high_hz=low_hz + (i + 1) * width) for i in range(count)
        ]
    return tuple(bands)


def fast_kurtogram(
    values: NDArray[np.floating],
    rate_hz: float,
    *,
    least_width_hz: float,
    low_hz: float = 0.0,
    high_hz: float | None = None,
) -> Kurtogram:
    """Spectral kurtosis over the tree of bands.

    Args:
        values: shape (n,), any unit.
        rate_hz: sample rate.
        least_width_hz: narrowest band.
        low_hz: lowest frequency of the tree.
        high_hz: highest, half the sample rate if None.
    """
    x = np.asarray(values, dtype=np.float32)
    spectrum = fft.rfft(x - x.mean())
    top = rate_hz / 2.0 if high_hz is None else min(high_hz, rate_hz / 2.0)
    bands = band_tree(low_hz, top, least_width_hz=least_width_hz)
    step = rate_hz / len(x)
    kurtosis = np.array([excess_kurtosis(_cut(spectrum, step, band)) for band in bands])
    return Kurtogram(bands=bands, kurtosis=kurtosis)


def complex_envelope(
    values: NDArray[np.floating], rate_hz: float, band: Band
) -> tuple[NDArray[np.complex64], float]:
    """Complex envelope of one band and its sample rate (about twice the band's width).

    Args:
        values: shape (n,), any unit.
        rate_hz: sample rate.
        band: the band.
    """
    x = np.asarray(values, dtype=np.float32)
    envelope = _cut(fft.rfft(x - x.mean()), rate_hz / len(x), band)
    scale = np.float32(2.0 * len(envelope) / len(x))
    return envelope * scale, rate_hz * len(envelope) / len(x)


def _cut(spectrum: NDArray[np.complex64], step: float, band: Band) -> NDArray[np.complex64]:
    """Complex envelope of one band, sampled at about twice the band's width."""
    edge = EDGE_SHARE * band.width_hz
    first = max(0, round((band.low_hz - edge) / step))
    last = min(len(spectrum), round((band.high_hz + edge) / step) + 1)
    place = np.arange(first, last) * step
    inside = np.minimum((place - band.low_hz) / edge, (band.high_hz - place) / edge)
    taper = 0.5 * (1.0 + np.sin(0.5 * np.pi * np.clip(inside, -1.0, 1.0)))
    size = fft.next_fast_len(2 * (last - first))
    envelope: NDArray[np.complex64] = fft.ifft(
        spectrum[first:last] * taper.astype(np.float32), size
    )
    return envelope


def excess_kurtosis(envelope: NDArray[np.complex64]) -> float:
    """E|x|^4 / (E|x|^2)^2 - 2 of a complex envelope: 0 for noise."""
    power = envelope.real**2 + envelope.imag**2
    mean = float(power.mean())
    if mean <= 0:
        return 0.0
    return float(np.mean((power / mean) ** 2)) - 2.0
