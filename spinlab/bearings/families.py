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


def family_lines(
    order: float, steps: Sequence[tuple[float, int]], width: float, highest_order: float
) -> list[tuple[float, float]]:
    """(order, half-width) of every harmonic of a family and its sidebands.

    Args:
        order: first harmonic.
        steps: spacings of sidebands and how many of each to take either side; they combine.
        width: relative width of a harmonic.
        highest_order: end of the axis.
    """
    offsets = {0.0}
    for step, count in steps:
        offsets = {offset + side * step for offset in offsets for side in range(-count, count + 1)}
    lines = []
    for harmonic in range(0, int(highest_order / order) + 2):
        for offset in offsets:
            # A difference of rates is heard at its magnitude.
            place = abs(harmonic * order + offset)
            if 0 < place <= highest_order:
                lines.append((place, width * max(1, harmonic) * order))
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


def fraction_comb(spectra: EnvelopeSpectra, band: int) -> tuple[int, float]:
    """The fractions of a turn that explain most lines (n for n-ths), and their share.

    Lines at simple fractions betray a speed read at a multiple of the true one, or a gear; the
    usual bearings' orders lie away from them.
    """
    best = (1, 0.0)
    for parts in _SIMPLE_FRACTIONS:
        lines = [(k / parts, 0.0) for k in range(1, int(spectra.highest_order * parts) + 1)]
        share = dominance(spectra, spectra.without(lines), band).share
        if share > best[1]:
            best = (parts, share)
    return best


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
