"""The harmonic test: is there a family of lines at h times an order, h = 1, 2, 3 ...?

Each harmonic is the sum of the free lines within a relative width of h times the order; its
improbability under noise alone, -ln p, follows the unit exponential law, and the total over H
harmonics the gamma law of shape H (Fisher 1932).  One harmonic counts for at most `HIGHEST`
nepers, so that a single line, which anything can make, never decides.  Sidebands are lines like
any other (`patterns`).

The best order in a range, width and band is then corrected for every place looked at: the
positions, the widths, the patterns, the parts of the recording, the bands (weighted Bonferroni:
Genovese, Roeder, Wasserman, Biometrika 93 (2006) 509-524).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from spinlab.bearings.evidence import LineEvidence
from spinlab.bearings.patterns import HIGHEST, Pattern, counted, harmonics_pattern
from spinlab.bearings.spectra import EnvelopeSpectra
from spinlab.envelope.significance import box_log_survival, log_any, log_survival

Array = NDArray[np.float64]

# Relative widths over which a harmonic is gathered: a pure line; the speed's uncertainty (put
# in by the caller); and the smear by the balls' random slip, a few tenths of a percent.
SLIP_WIDTHS = (0.0, 0.002, 0.005)
# Beyond the cap nepers count by this times the logarithm of their multiple of it: enough to
# find the true centre of a strong line, too little to outweigh a missing harmonic.
_SOFTNESS = 3.0
# Sidebands tell a family that is narrow; of smeared ones the harmonics are enough.
_WIDEST_SIDEBANDS = 0.002
# A wider box is taken only where it gains this many nepers: a strong line fills any box.
_WIDER_MUST_GAIN = 4.0
# Positions per line at the first harmonic: a fifth harmonic moves by 1.25 lines per step.
_STEPS_PER_LINE = 4
_STEPS_PER_BOX = 3
_LN10 = float(np.log(10.0))


@dataclass(frozen=True, kw_only=True)
class Best:
    """The best place of a search.

    Attributes:
        order: first harmonic.
        band: row of the spectra.
        look: which of the spectra that were searched.
        width: relative width the harmonics were gathered over.
        log_p: ln p, corrected for positions, widths and bands.
    """

    order: float
    band: int
    width: float
    log_p: float
    look: int = 0


@dataclass(frozen=True, kw_only=True, eq=False)
class _Scores:
    """The best place of each band: all of shape (bands,), but for the last."""

    order: Array
    shape: Array
    total: Array
    soft_log_p: Array
    trials: float


def search(
    looks: Sequence[EnvelopeSpectra],
    low: float,
    high: float,
    widths: Sequence[float],
    weights: Array,
    patterns: Sequence[Pattern] = (),
) -> Best | None:
    """The strongest family between two orders, over all looks, patterns, widths and bands.

    Args:
        looks: whitened spectra of the same bands, of the whole and of parts of the recording; the
            whole has half of the error budget.
        low, high: range of the first harmonic.
        widths: relative widths to gather a harmonic over.
        weights: shape (bands,), share of the error budget of each band; they add up to one.
        patterns: which lines make the family; harmonics alone if empty.

    Returns:
        The best place with ln p corrected for looks, patterns, positions, widths and bands; None
        where no line is free.
    """
    ways = [
        (pattern, width)
        for pattern in tuple(patterns) or (harmonics_pattern(),)
        for width in widths
        if not pattern.sides or width <= _WIDEST_SIDEBANDS
    ]
    shares = look_shares(len(looks))
    best, least = None, np.inf
    for (look, spectra), (pattern, width) in product(enumerate(looks), ways):
        scores = _scores(spectra, low, high, width, pattern)
        if scores is None:
            continue
        trials = scores.trials * len(ways) / (weights * shares[look])
        merit = np.log(trials) + scores.soft_log_p
        band = int(np.argmin(merit))
        if merit[band] < least - _WIDER_MUST_GAIN:
            least = float(merit[band])
            log_p = log_survival(scores.shape[band], scores.total[band])
            order = _centre(spectra.only(band), float(scores.order[band]), width, pattern)
            best = Best(
                order=float(np.clip(order, low, high)),
                band=band,
                width=width,
                log_p=float(log_any(log_p, trials[band])),
                look=look,
            )
    return best


def look_shares(count: int) -> Array:
    """Share of the error budget of each look: half for the whole, the rest for its parts alike."""
    shares = np.full(count, 0.5 / max(1, count - 1))
    shares[0] = 0.5 if count > 1 else 1.0
    return shares


def _centre(spectra: EnvelopeSpectra, order: float, width: float, pattern: Pattern) -> float:
    """Within a box that holds a line, the order at which the line itself is strongest."""
    if width * order < spectra.step:
        return order
    orders = np.linspace(order * (1 - width), order * (1 + width), 41)
    nepers, _ = harmonic_nepers(spectra, orders, 0.25 * width, pattern)
    return float(orders[int(np.argmax(np.log1p(nepers[0]).sum(axis=-1)))])


def _scores(
    spectra: EnvelopeSpectra, low: float, high: float, width: float, pattern: Pattern
) -> _Scores | None:
    high = min(high, spectra.highest_order)
    if not 0 < low < high:
        return None
    stride = max(spectra.step / _STEPS_PER_LINE, width * low / _STEPS_PER_BOX)
    count = max(3, int(np.ceil((high - low) / stride)))
    orders = np.linspace(low, high, count)
    nepers, valid = harmonic_nepers(spectra, orders, width, pattern)
    harmonics = valid.sum(axis=-1)
    if not harmonics.any():
        return None
    total = counted(nepers, pattern)
    beyond = np.maximum(nepers - HIGHEST, 0.0) / _SOFTNESS
    strength = total + _SOFTNESS * np.log1p(beyond).sum(axis=-1)
    place, soft_log_p = _rarest(harmonics, strength)
    # The mean harmonic decides how far the order must move to make an independent look.
    used = np.abs(pattern.multiple[valid.any(axis=0)])
    mean_harmonic = float(used.mean()) if len(used) else 1.0
    look = max(1.5 * spectra.step / mean_harmonic, 2.0 * width * low)
    return _Scores(
        order=orders[place],
        shape=np.maximum(harmonics, 1)[place],
        total=total[np.arange(len(place)), place],
        soft_log_p=soft_log_p,
        trials=max(1.0, (high - low) / look),
    )


def _rarest(harmonics: NDArray[np.int64], strength: Array) -> tuple[NDArray[np.intp], Array]:
    """The rarest place of each band, and ln p there; shape (bands,) both.

    Among places with as many lines the strongest is the rarest: the law of chance is asked once
    for each number of lines, not at every place.

    Args:
        harmonics: shape (m,), free lines at each place.
        strength: shape (bands, m).
    """
    bands = np.arange(len(strength))
    rarest = np.zeros(len(bands), dtype=np.intp)
    log_p = np.zeros(len(bands))
    for count in np.unique(harmonics[harmonics > 0]):
        places = np.flatnonzero(harmonics == count)
        strongest = places[np.argmax(strength[:, places], axis=1)]
        here = log_survival(count, strength[bands, strongest])
        rarest = np.where(here < log_p, strongest, rarest)
        log_p = np.minimum(here, log_p)
    return rarest, log_p


def harmonic_nepers(
    spectra: EnvelopeSpectra, orders: Array, width: float, pattern: Pattern | None = None
) -> tuple[Array, NDArray[np.bool_]]:
    """-ln p of each line of a family at each order.

    Args:
        spectra: whitened spectra.
        orders: shape (m,).
        width: relative half-width of the box around each line.
        pattern: the family's lines; harmonics alone if None.

    Returns:
        Shape (bands, m, lines), 0 where not free, and which lines are free, shape (m, lines).
    """
    count = spectra.level.shape[1]
    pattern = pattern or harmonics_pattern()
    place = (orders[:, None] * pattern.multiple + pattern.offset) / spectra.step
    half = np.rint(
        np.abs(orders[:, None] * pattern.multiple) / spectra.step * width * pattern.smear
    )
    half = half.astype(np.int64)
    first = np.rint(place).astype(np.int64) - half
    past = first + 2 * half + 1
    inside = (past <= count) & (first > 0)
    first, past = np.clip(first, 0, count), np.clip(past, 0, count)
    free = spectra.free_sum[past] - spectra.free_sum[first]
    valid = inside & (2 * free > past - first)
    filled = spectra.level_sum[:, past] - spectra.level_sum[:, first]
    shape = spectra.floor_shape[np.minimum(first, count - 1)]
    if half.any():
        nepers = -box_log_survival(filled, np.maximum(free, 1), shape)
    else:
        # One line over its estimated mean follows (1 + u/m)^-m exactly.
        nepers = shape * np.log1p(filled / shape)
    return np.where(valid, nepers, 0.0), valid


def read_line(
    spectra: EnvelopeSpectra, band: int, order: float, width: float, label: str
) -> LineEvidence | None:
    """One line at a given order, gathered over a relative width; None where it is not free."""
    place = order / spectra.step
    half = round(place * width)
    first, past = round(place) - half, round(place) + half + 1
    if first < 1 or past > spectra.level.shape[1]:
        return None
    free = int(spectra.free_sum[past] - spectra.free_sum[first])
    if 2 * free <= past - first:
        return None
    filled = float(spectra.level_sum[band, past] - spectra.level_sum[band, first])
    return LineEvidence(
        label=label,
        order=order,
        snr_db=10.0 * float(np.log10(max(filled / free, 1e-3))),
        log10_p=float(box_log_survival(filled, free, spectra.floor_shape[first])) / _LN10,
        depth=spectra.depth(band, max(1, first - 1), past + 1),
    )


def sideband_lines(
    spectra: EnvelopeSpectra,
    best: Best,
    sideband: float,
    width: float,
    name: str,
    step_name: str,
) -> tuple[tuple[LineEvidence, ...], float]:
    """First and second sidebands around the first three harmonics, and log10 p of them all.

    Each is gathered over `width` of its harmonic's order: it is as wide as its harmonic.
    """
    lines = []
    for harmonic in (1, 2, 3):
        for side in (-2, -1, 1, 2):
            sign = "+" if side > 0 else "-"
            label = f"{harmonic} x {name} {sign} {abs(side)} x {step_name}"
            order = abs(harmonic * best.order + side * sideband)
            if order < spectra.step:
                continue
            relative = width * harmonic * best.order / order
            line = read_line(spectra, best.band, order, relative, label)
            if line is not None:
                lines.append(line)
    if not lines:
        return (), 0.0
    total = sum(min(-line.log10_p * _LN10, HIGHEST) for line in lines)
    return tuple(lines), float(log_survival(len(lines), total)) / _LN10


def log10_any(log_p: float, tests: int) -> float:
    """log10 of the chance that one of `tests` searches is this rare."""
    return float(log_any(min(log_p, 0.0), tests)) / _LN10
