"""Evidence: how much likelier a spectrum is with a line at a frequency than without.

A spectrum divided by its local noise floor is exponentially distributed where there is noise only.
Under a line of random level (mean signal-to-noise `MEAN_SNR`) it is exponential with a larger mean.
The log-likelihood ratio of "a line is here with prior `PRIOR`" against "noise only" is what
`line_evidence` returns; summing it over the orders of a family gives the multi-order evidence
(the idea of Leclere, Andre and Antoni 2016, MSSP, "A multi-order probabilistic approach for
Instantaneous Angular Speed tracking").  An empty order costs a little, so a half-speed reading
that leaves every second order empty loses to the true one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinlab.speed.ranks import median, ranked

Floats = NDArray[np.float32]

# Share of orders of a family that are heard at all, and their mean power over the noise.
PRIOR = 0.3
MEAN_SNR = 12.0
# One line alone may not outvote a family: mains hum and a pump are strong and single.
LIMIT = 10.0


@dataclass(frozen=True, kw_only=True)
class LogGrid:
    """A grid of frequencies, uniform in the logarithm, so that an order is a shift."""

    first_hz: float
    step: float
    count: int

    @property
    def frequency_hz(self) -> NDArray[np.float64]:
        """Shape (count,)."""
        return self.first_hz * np.exp(self.step * np.arange(self.count))

    def shift_of(self, order: float) -> int:
        """Cells between a frequency and `order` times it."""
        return round(float(np.log(order)) / self.step)

    def cell_of(self, frequency_hz: float) -> int:
        """First cell at or above a frequency (0 if it lies below the grid)."""
        if frequency_hz <= self.first_hz:
            return 0
        return int(np.ceil(np.log(frequency_hz / self.first_hz) / self.step))

    def extended(self, highest_hz: float) -> LogGrid:
        """The same grid carried on to `highest_hz`."""
        count = int(np.floor(np.log(highest_hz / self.first_hz) / self.step)) + 1
        return LogGrid(first_hz=self.first_hz, step=self.step, count=max(count, 1))


def line_evidence(
    ratio: Floats,
    *,
    prior: float = PRIOR,
    mean_snr: float = MEAN_SNR,
    limit: float = LIMIT,
) -> Floats:
    """Log-likelihood ratio of a line against noise, in nats; `ratio` is overwritten.

    The two branches of log(1 - prior + prior * L) are taken as a maximum: never more than the
    exact value, at most ln 2 below it, and without an exponential and a logarithm per cell.

    Args:
        ratio: power over local noise floor, any shape.
        prior: probability that the line is present at all.
        mean_snr: mean power of a present line over the noise.
        limit: largest evidence that one line may give.
    """
    ratio *= np.float32(mean_snr / (1.0 + mean_snr))
    ratio += np.float32(np.log(prior) - np.log(1.0 + mean_snr))
    np.clip(ratio, np.float32(np.log(1.0 - prior)), np.float32(limit), out=ratio)
    return ratio


def noise_floor(power: Floats, bin_hz: float, *, width_hz: float, quantile: float = 0.4) -> Floats:
    """Local mean noise power of each spectrum, shape as `power` (..., bins).

    The low quantile of each block of bins, scaled to the mean of an exponential law, passes under
    the lines: with a quantile q the mean is the quantile over -ln(1 - q).  Blocks overlap by half
    and are joined linearly.
    """
    half = _half_block(power.shape[-1], bin_hz, width_hz)
    return _joined(_block_levels(power, half, quantile), half, power.shape[-1])


def _half_block(bins: int, bin_hz: float, width_hz: float) -> int:
    """Half the bins over which a noise floor is taken."""
    return int(np.clip(round(width_hz / bin_hz / 2), 4, max(4, bins // 4)))


def _block_levels(power: Floats, half: int, quantile: float = 0.4) -> Floats:
    """Noise level of each half block, smoothed over its neighbours, shape (..., blocks)."""
    bins = power.shape[-1]
    count = max(2, bins // half)
    used = power[..., : count * half] if count * half <= bins else power
    blocks = (
        used.reshape(*used.shape[:-1], -1, half)
        if used.shape[-1] % half == 0
        else used[..., None, :]
    )
    rank = int(quantile * blocks.shape[-1])
    low = ranked(blocks, rank)
    low /= np.float32(-np.log(1.0 - quantile))
    if low.shape[-1] > 2:
        inner = 0.25 * low[..., :-2] + 0.5 * low[..., 1:-1] + 0.25 * low[..., 2:]
        low = np.concatenate([low[..., :1], inner, low[..., -1:]], axis=-1)
    least = float(median(low.reshape(-1))) * 1e-6
    return np.maximum(low, np.float32(max(least, 1e-30)), out=low)


def _joined(levels: Floats, half: int, bins: int) -> Floats:
    """Levels of blocks joined linearly between their middles, shape (..., bins)."""
    middle = half // 2
    part = ((np.arange(half) + middle + 0.5) / half - 0.5).astype(np.float32)
    first = half - middle
    pieces = -(-(first + bins) // half)
    # held level before the first middle and behind the last
    behind = np.repeat(levels[..., -1:], max(0, pieces - levels.shape[-1]), axis=-1)
    held = np.concatenate([levels[..., :1], levels, behind], axis=-1)
    ends = np.stack([held[..., :pieces], held[..., 1 : pieces + 1]], axis=-1)
    # one product for all pieces is faster than looking up the blocks beside each bin
    floor = ends.reshape(-1, 2) @ np.stack([1 - part, part])
    return floor.reshape(*levels.shape[:-1], -1)[..., first : first + bins]


def to_log_grid(ratio: Floats, bin_hz: float, grid: LogGrid, *, first_bin: int = 0) -> Floats:
    """Power over noise on linear bins -> compressed, on the log grid.

    A line is equally likely anywhere in a cell.  Cells narrower than a bin take the nearest bin;
    wider ones take log-mean-exp of their bins (as the maximum less the log of the count, exact
    where one bin dominates).

    Args:
        ratio: power over noise, shape (..., bins).
        bin_hz: width of a bin.
        grid: the grid.
        first_bin: number of the first bin that `ratio` holds.
    """
    edges = grid.first_hz * np.exp(grid.step * (np.arange(grid.count + 1) - 0.5)) / bin_hz
    edges -= first_bin
    bins = ratio.shape[-1]
    low = np.clip(np.floor(edges[:-1] + 0.5).astype(int), 0, bins - 1)
    high = np.clip(np.floor(edges[1:] + 0.5).astype(int), low + 1, bins)
    out = np.take(ratio, low, axis=-1, mode="clip")
    for k in range(1, int((high - low).max())):
        cells = np.flatnonzero(low + k < high)
        first = int(cells[0])
        index = np.minimum(low[first:] + k, high[first:] - 1)
        beside = np.take(ratio, index, axis=-1, mode="clip")
        np.maximum(out[..., first:], beside, out=out[..., first:])
    compress(out)
    penalty = np.log(high - low).astype(np.float32)
    wide = int(np.argmax(penalty > 0)) if (penalty > 0).any() else grid.count
    out[..., wide:] -= penalty[wide:]
    np.clip(out, np.float32(0.0), np.float32(np.inf), out=out)
    out[..., edges[:-1] > bins - 1] = 0.0
    return out


RATIO_KNEE = 8.0


def compress(ratio: Floats) -> None:
    """Let strong lines grow only with their logarithm beyond `RATIO_KNEE`, in place.

    A cap would turn the whole main lobe of a strong line into a plateau and hide where it peaks.
    """
    strong = ratio > RATIO_KNEE
    ratio[strong] = RATIO_KNEE + np.log(ratio[strong] / RATIO_KNEE)


def family_evidence(
    lines: Floats,
    grid: LogGrid,
    orders: NDArray[np.float64],
    *,
    count: int,
    lowest_hz: float,
    weights: NDArray[np.float64] | None = None,
    lowest_base_hz: float = 0.0,
) -> Floats:
    """Sum of line evidence over the orders of a family, for each base frequency of the grid.

    Args:
        lines: shape (..., cells of the extended grid).
        grid: the extended grid that `lines` lives on.
        orders: the family's orders relative to the base frequency.
        count: number of base frequencies (the first `count` cells of the grid).
        lowest_hz: nothing is heard below this; orders that fall below say nothing.
        weights: one factor per order.
        lowest_base_hz: below this base frequency neighbouring orders are not resolved, so the
            family says nothing.
    """
    out = np.zeros((*lines.shape[:-1], count), np.float32)
    silent = grid.cell_of(lowest_hz)
    unresolved = grid.cell_of(lowest_base_hz)
    factors = np.ones(len(orders)) if weights is None else weights
    for order, factor in zip(orders, factors, strict=True):
        shift = grid.shift_of(float(order))
        first = max(0, silent - shift, -shift, unresolved)
        last = min(count, grid.count - shift)
        if last > first:
            part = lines[..., first + shift : last + shift]
            out[..., first:last] += part if factor == 1.0 else np.float32(factor) * part
    return out
