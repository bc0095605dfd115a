"""Families of lines that fit no listed bearing, and the catalogue rows that would explain them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spinlab.bearings.evidence import CandidateRow, Competitor, Family
from spinlab.bearings.explain import WORTH_A_LOOK_LOG10
from spinlab.bearings.families import dominance, family_lines, shaft_scale, simple_fraction
from spinlab.bearings.geometry import (
    FAULTS,
    SLIP_ABOVE,
    SLIP_BELOW,
    BearingGeometry,
)
from spinlab.bearings.group import Group
from spinlab.bearings.patterns import MOST_HARMONICS
from spinlab.bearings.score import SLIP_WIDTHS, log10_any, read_line, search
from spinlab.bearings.spectra import EnvelopeSpectra
from spinlab.bearings.stagewise import stage_evidence, test_speed
from spinlab.phrase import say
from spinlab.speed.track import SpeedTrack

# Races of 6 to 12 balls pass between these orders; below, belt and cage; above, slots.
LOWEST_ORDER = 1.6
HIGHEST_ORDER = 8.5
# The search goes in steps this wide, so that each finds the best of its own.
_STEP_RATIO = 1.12
_MOST_FAMILIES = 3
_MOST_BANDS = 4
_MOST_ROWS = 6
# How far the stated shaft rate may be off, and how much of a family fractions must explain.
SHAFT_REACH = 0.02
_AS_MUCH = 0.1
# What chance explains more often is not worth a test against speed.
_WORTH_TESTING_LOG10 = -3.0


def unknown_families(
    group: Group,
    spectra: EnvelopeSpectra,
    competitors: Sequence[Competitor],
    catalogue: Sequence[BearingGeometry],
    track: SpeedTrack,
    uncertainty: float,
) -> tuple[Family, ...]:
    """The strongest non-integer families in what the listed bearings leave unexplained.

    Only the few bands with the most cyclic content are searched: a blind search over every order
    pays dearly for each further band.

    Args:
        group: the drum's group.
        spectra: its spectra with every explained line set aside.
        competitors: other known causes, named where they coincide.
        catalogue: rows to hold against a family.
        track, uncertainty: the drum's speed and its relative standard uncertainty.
    """
    scale = shaft_scale(spectra, SHAFT_REACH)
    order = np.argsort([-m.cyclic_depth * m.weight for m in group.merits])[:_MOST_BANDS]
    families: list[Family] = []
    for _ in range(_MOST_FAMILIES):
        found = _strongest(group, spectra, [int(i) for i in order])
        if found is None:
            break
        family, lines, found_band = found
        rows = explaining_rows(family.order, catalogue)
        cause = _cause(family.order, spectra.step, competitors)
        parts = simple_fraction(spectra, found_band, scale, least_share=family.share - _AS_MUCH)
        if parts > 1:
            cause = say(
                "lines at {parts}ths of a turn: speed read at a multiple, or a gear", parts=parts
            )
        speed = None
        if family.log10_p < _WORTH_TESTING_LOG10 and not cause:
            stages = stage_evidence(group, track, family, competitors, uncertainty)
            speed = test_speed(group, track, family, stages, competitors, uncertainty, ())
        families.append(replace(family, rows=rows, cause=cause, speed=speed))
        spectra = spectra.without(lines)
    return tuple(families)


def _strongest(
    group: Group, spectra: EnvelopeSpectra, bands: Sequence[int]
) -> tuple[Family, list[tuple[float, float]], int] | None:
    widths, each = SLIP_WIDTHS[:2], spectra.only(*bands)
    looks, low = [], LOWEST_ORDER
    while low < min(HIGHEST_ORDER, 0.5 * spectra.highest_order):
        looks.append(search((each,), low, low * _STEP_RATIO, widths, np.ones(len(bands))))
        low *= _STEP_RATIO
    found = [best for best in looks if best is not None]
    if not found:
        return None
    best = min(found, key=lambda look: look.log_p)
    tests = len(found) * len(bands)
    if log10_any(best.log_p, tests) > WORTH_A_LOOK_LOG10:
        return None
    band = bands[best.band]
    one = spectra.only(band)
    width = max(2.0 * best.width, 0.004)
    lines = family_lines(best.order, [(1.0, 4)], width, spectra.highest_order)
    strength = dominance(one, one.without(lines), 0)
    read = [
        read_line(one, 0, h * best.order, best.width, f"{h} x")
        for h in range(1, MOST_HARMONICS + 1)
    ]
    harmonics = tuple(line for line in read if line is not None)
    family = Family(
        order=best.order,
        log10_p=log10_any(best.log_p, tests),
        share=strength.share,
        family_depth=strength.depth,
        band=group.merits[band].band,
        line_width=best.width,
        harmonics=harmonics,
        rows=(),
    )
    return family, lines, band


def explaining_rows(
    order: float, catalogue: Sequence[BearingGeometry], *, shaft_order: float = 1.0
) -> tuple[CandidateRow, ...]:
    """Catalogue rows with a kind of damage at this order, the closest first.

    Args:
        order: order of the family on the drum's scale.
        catalogue: rows to try.
        shaft_order: turns of the bearing's shaft per drum turn.
    """
    rows = []
    for geometry in catalogue:
        for fault in FAULTS:
            expected = geometry.order(fault) * shaft_order
            offset = order / expected - 1.0
            tolerance = geometry.order_tolerance(fault)
            if -(SLIP_BELOW + tolerance) <= offset <= SLIP_ABOVE + tolerance:
                rows.append(
                    CandidateRow(
                        geometry=geometry, fault=fault, expected_order=expected, misfit=offset
                    )
                )
    return tuple(sorted(rows, key=lambda row: abs(row.misfit))[:_MOST_ROWS])


def _cause(order: float, step: float, competitors: Sequence[Competitor]) -> str:
    for cause in competitors:
        multiple = max(1, round(order / cause.order))
        reach = 3.0 * step + 2.0 * multiple * cause.standard_uncertainty
        if abs(multiple * cause.order - order) < reach:
            return cause.cause
    return ""
