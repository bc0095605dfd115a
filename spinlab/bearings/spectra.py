"""Squared envelope order spectra of several bands, whitened, with known lines set aside.

Conventions: orders on the drum's scale; levels in multiples of the local mean noise line, so
that under noise alone a line follows the unit exponential law (see `envelope.significance`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from spinlab.bearings.evidence import Competitor
from spinlab.envelope.significance import HANN_NOISE_LINES, line_threshold, noise_floor

Array = NDArray[np.float64]

# Lines of the Hann window's main lobe either side of a tone, and one more for its skirt.
MASK_LINES = 3
# No cage, race or load returns so seldom, and below it envelopes have lost their strength to the
# level of the second around (`envelope.bands.LEVEL_S`): a floor read there would be too low.
LOWEST_ORDER = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class EnvelopeSpectra:
    """Whitened order spectra of the squared envelopes of several bands.

    Attributes:
        step: distance of two lines, in orders.
        level: shape (bands, n), power over the local noise.
        floor: shape (bands, n), the local noise as squared modulation depth.
        floor_shape: shape (n,), half the degrees of freedom behind it.
        free: shape (n,), False where another cause's line lies.
        highest_order: end of the range in which the envelope has not lost its strength.
    """

    step: float
    level: Array
    floor: Array
    floor_shape: Array
    free: NDArray[np.bool_]
    highest_order: float

    @cached_property
    def level_sum(self) -> Array:
        """Running sums of the free lines' level with a leading 0, shape (bands, n + 1)."""
        sums = np.zeros((self.level.shape[0], self.level.shape[1] + 1))
        np.cumsum(np.where(self.free, self.level, 0.0), axis=1, out=sums[:, 1:])
        return sums

    @cached_property
    def free_sum(self) -> NDArray[np.int64]:
        """Running count of the free lines with a leading 0, shape (n + 1,)."""
        return np.concatenate([[0], np.cumsum(self.free)])

    def without(self, orders: Iterable[tuple[float, float]]) -> EnvelopeSpectra:
        """The same with more lines set aside: (order, half-width in orders) each."""
        free = self.free.copy()
        for order, half_width in orders:
            reach = MASK_LINES + half_width / self.step
            first = int(np.floor(order / self.step - reach))
            last = int(np.ceil(order / self.step + reach)) + 1
            if last > 0:
                free[max(0, first) : last] = False
        return replace(self, free=free)

    def highest_at_multiples(self, order: float) -> Array:
        """The highest line of each band at the multiples of an order, shape (bands,)."""
        places = np.rint(np.arange(order, self.highest_order, order) / self.step).astype(np.int64)
        places = places[places < self.level.shape[1]]
        highest: Array = self.level[:, places].max(axis=1, initial=0.0)
        return highest

    def blind_above(self, orders: Sequence[float] | Array) -> EnvelopeSpectra:
        """The same where each band says nothing above its own order: every line at the mean."""
        level = self.level.copy()
        for band, order in enumerate(orders):
            level[band, int(order / self.step) :] = 1.0
        return replace(self, level=level)

    def only(self, *bands: int) -> EnvelopeSpectra:
        """These bands alone."""
        return replace(self, level=self.level[list(bands)], floor=self.floor[list(bands)])

    def standing(self, band: int) -> tuple[NDArray[np.int64], Array]:
        """Numbers of a band's free lines that pass the level of chance, and their power."""
        level = np.where(self.free, self.level[band], 0.0)
        high = np.flatnonzero(level > line_threshold(0.01, lines=max(1, int(self.free.sum()))))
        return high, (level[high] - 1.0) * self.floor[band, high] / HANN_NOISE_LINES

    def cyclic_power(self, band: int) -> float:
        """Squared modulation depth of all free lines of a band that pass the level of chance."""
        return float(self.standing(band)[1].sum())

    def depth(self, band: int, first: int, past: int) -> float:
        """Modulation depth of a line whose power lies in lines `first` to `past`."""
        excess = (self.level[band, first:past] - 1.0) * self.floor[band, first:past]
        return float(np.sqrt(max(0.0, float(excess.sum())) / HANN_NOISE_LINES))


def envelope_spectra(cells: Array, cells_per_turn: int, *, highest_order: float) -> EnvelopeSpectra:
    """Whitened spectra of envelopes given at equal steps of angle.

    Args:
        cells: shape (bands, n), envelopes with mean about one.
        cells_per_turn: cells per turn of the drum.
        highest_order: orders above it are dropped.
    """
    n = _fast_length(cells.shape[1])
    part = cells[:, :n] / np.maximum(cells[:, :n].mean(axis=1, keepdims=True), 1e-12)
    window = np.hanning(n + 1)[:-1]
    spectrum = fft.rfft(((part - 1.0) * window).astype(np.float32), axis=1)
    step = cells_per_turn / n
    kept = min(spectrum.shape[1], int(highest_order / step) + 1)
    power = (np.abs(spectrum[:, :kept]) * (2.0 / window.sum())) ** 2
    # The mean over a cell weakens a line by sinc; divide it out so that depth is true.
    power /= np.sinc(np.arange(kept) / n) ** 2
    lowest = min(max(MASK_LINES + 1, round(LOWEST_ORDER / step)), kept - 1)
    floor = noise_floor(power, step, first=lowest)
    free = np.ones(kept, dtype=bool)
    free[:lowest] = False
    return EnvelopeSpectra(
        step=step,
        level=power / floor.level,
        floor=floor.level,
        floor_shape=floor.shape,
        free=free,
        highest_order=kept * step,
    )


def _fast_length(n: int) -> int:
    """The longest length up to n that the transform likes."""
    size = n
    while size > 16 and fft.next_fast_len(size, real=True) != size:
        size -= 1
    return size


def competing_lines(
    competitors: Sequence[Competitor], highest_order: float, speed_uncertainty: float
) -> list[tuple[float, float]]:
    """(order, half-width) of every multiple of every competing cause.

    The half-width is two standard uncertainties of the order; the speed's own uncertainty
    smears a line in proportion to its order.
    """
    lines = []
    for cause in competitors:
        for multiple in range(1, int(highest_order / cause.order) + 1):
            order = multiple * cause.order
            spread = np.hypot(multiple * cause.standard_uncertainty, order * speed_uncertainty)
            # Where the multiples can no longer be told apart they are not a known place.
            if 2.0 * spread > 0.2 * cause.order and multiple > 1:
                break
            lines.append((order, 2.0 * float(spread)))
    return lines
