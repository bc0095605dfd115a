"""Families of lines: which lines belong to one cause, and how much of all lines it explains.

Chance is one rival of a bearing; the other is a machine that makes many lines of its own.
Against it stands the family's share: how much of all the lines that stand out in its band it
explains, corrected for the part of the axis it covers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spinlab.bearings.spectra import EnvelopeSpectra

# Halves, thirds, quarters and eighths: multiples at which a speed is misread.
_SIMPLE_FRACTIONS = (2, 3, 4, 8)
# A locked line peaks within so many lines of the fraction; its Hann skirt reaches two further.
_LOCKED_LINES = 1.0
_SKIRT_LINES = 2
# Less than this share of the lines is no comb, and one place alone is none: any line lies near some
# fraction.
_LEAST_FRACTIONS = 0.5
_LEAST_PLACES = 2
# Half-width, as a share of their distance, to which harmonics of scattering blows are lines.
_WIDEST = 0.2
# Whole orders looked at, and how far they must stand out, to place the comb.
_WHOLE_ORDERS = 12
_WHOLE_STAND = 1.3


def family_lines(
    order: float,
    steps: Sequence[tuple[float, int]],
    width: float,
    highest_order: float,
    *,
    random_walk: bool = False,
) -> list[tuple[float, float]]:
    """(order, half-width) of every harmonic of a family and its sidebands.

    Args:
        order: first harmonic.
        steps: spacings of sidebands and how many of each to take either side; they combine.
        width: relative width of a harmonic.
        highest_order: end of the axis.
        random_walk: the h-th harmonic is h^2 times as wide as the first instead of h times; where
            neighbours would run into each other there are lines no more.
    """
    offsets = {0.0}
    for step, count in steps:
        offsets = {offset + side * step for offset in offsets for side in range(-count, count + 1)}
    lines = []
    for harmonic in range(0, int(highest_order / order) + 2):
        spread = width * max(1, harmonic) * order
        if random_walk:
            spread *= max(1, harmonic)
            if harmonic > 1 and spread > _WIDEST * order:
                break
        for offset in offsets:
            # A difference of rates is heard at its magnitude.
            place = abs(harmonic * order + offset)
            if 0 < place <= highest_order:
                lines.append((place, spread))
    return lines


@dataclass(frozen=True, kw_only=True)
class Dominance:
    """How much of the lines that stand out in a band a family explains.

    Attributes:
        share: 0 (no more than its lines' part of the axis would by chance) to 1 (all).
        depth: modulation depth of all its lines together.
    """

    share: float
    depth: float


def shaft_scale(spectra: EnvelopeSpectra, reach: float) -> float:
    """True over stated shaft rate, from the lines at whole orders; 1 where none stand.

    Args:
        spectra: whitened spectra.
        reach: largest relative departure looked for.
    """
    whole = np.arange(1, int(min(_WHOLE_ORDERS, spectra.highest_order)) + 1)
    count = max(1, int(np.ceil(reach * len(whole) / (0.25 * spectra.step))))
    scales = 1.0 + reach * np.linspace(-1.0, 1.0, 2 * count + 1)
    place = np.rint(scales[:, None] * whole / spectra.step).astype(int)
    place = np.minimum(place, spectra.level.shape[1] - 1)
    # Logarithms, so that one loud line does not place the comb.
    heard = np.log1p(spectra.level).mean(axis=0)[place].sum(axis=1)
    if heard.max() < _WHOLE_STAND * float(np.median(heard)):
        return 1.0
    return float(scales[int(np.argmax(heard))])


def simple_fraction(
    spectra: EnvelopeSpectra, band: int, scale: float, *, least_share: float
) -> int:
    """N where lines at whole n-ths of a turn explain this share of a band's lines; otherwise 1.

    Lines at simple fractions betray a speed read at a multiple of the true one, or a gear.  They
    are locked to the shaft and peak on the fractions to within a line, at several of them; a family
    of a bearing's order meets a fraction at most with one of its harmonics.

    Args:
        spectra: whitened spectra.
        band: row.
        scale: from `shaft_scale`.
        least_share: share of the band's lines that the fractions must explain.
    """
    lines, power = spectra.standing(band)
    if len(lines) == 0:
        return 1
    peaks = np.split(np.arange(len(lines)), np.flatnonzero(np.diff(lines) > _SKIRT_LINES) + 1)
    heard = np.array([power[peak].sum() for peak in peaks])
    order = np.array([np.average(lines[peak], weights=power[peak]) for peak in peaks])
    order *= spectra.step / scale
    for parts in _SIMPLE_FRACTIONS:
        away = np.abs(order - np.rint(order * parts) / parts) * scale
        near = away < _LOCKED_LINES * spectra.step
        covered = min(0.9, 2.0 * _LOCKED_LINES * spectra.step * parts)
        share = (float(heard[near].sum() / heard.sum()) - covered) / (1.0 - covered)
        comb = np.count_nonzero(near) >= _LEAST_PLACES
        if comb and share >= max(least_share, _LEAST_FRACTIONS):
            return parts
    return 1


def dominance(spectra: EnvelopeSpectra, rest: EnvelopeSpectra, band: int) -> Dominance:
    """Compare a band's lines before and after a family has been set aside.

    Where no single line stands out there is nothing else to explain: the share is then one, and
    the odds against chance speak alone.
    """
    before, after = spectra.cyclic_power(band), rest.cyclic_power(band)
    if before <= 0:
        return Dominance(share=1.0, depth=0.0)
    covered = 1.0 - float(rest.free.sum()) / max(1.0, float(spectra.free.sum()))
    share = 1.0 - after / before
    return Dominance(
        share=float(np.clip((share - covered) / max(1.0 - covered, 0.05), 0.0, 1.0)),
        depth=float(np.sqrt(max(0.0, before - after))),
    )
