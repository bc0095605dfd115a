"""One hypothesis put into numbers: its lines, their depth, what lies close or stands beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinlab.bearings.evidence import LOOKS, Competitor, Hypothesis, LineEvidence
from spinlab.bearings.geometry import Fault, MountedBearing
from spinlab.bearings.group import Group
from spinlab.bearings.patterns import MOST_HARMONICS, Pattern
from spinlab.bearings.score import Best, log10_any, read_line, search, sideband_lines
from spinlab.bearings.spectra import MASK_LINES, EnvelopeSpectra
from spinlab.phrase import say

Array = NDArray[np.float64]

# Names of the lines in the trade, and of the step of their sidebands.
LINE_NAMES: dict[Fault, tuple[str, str]] = {
    "outer race": ("BPFO", "shaft"),
    "inner race": ("BPFI", "shaft"),
    "ball": ("2xBSF", "FTF"),
    "cage": ("FTF", "shaft"),
}
# Both orders are read against one speed, whose error they share; what is left is its wander.
_CLOSE = 0.002
# A place that passes once per turn makes its multiples about equally deep (an impulse's comb is
# flat), the lower ones no less: below this share of the family's depth they are missing.
_LOWER_SHARE = 0.35
# What a fundamental alone must reach to stand out after all corrections, over the noise line.
_FINDABLE_LEVEL = 12.0
# A companion is not a by-product: it is rare by chance and at least a third as deep.
_COMPANION_LOG10 = -4.0
_COMPANION_SHARE = 0.35
# Beyond this no harmonics alone can be so rare: they were among what was searched.
_WORTH_A_SEARCH_LOG10 = -2.0
# It has lines of its own, the first harmonic among them and this rare each, where the leader
# has neither harmonic nor sideband.
_COMPANION_LINES = 2
_COMPANION_LINE_LOG10 = -2.0


@dataclass(frozen=True, kw_only=True)
class Case:
    """One hypothesis under test.

    Attributes:
        group: index of the group whose spectra it is looked for in.
        bearing, fault: what it says.
        low, high: searched range of the first harmonic, drum orders.
        widths: relative widths its harmonics are gathered over.
        patterns: which lines make the family, each looked for.
        best: the best place found so far.
    """

    group: int
    bearing: MountedBearing
    fault: Fault
    low: float
    high: float
    widths: tuple[float, ...]
    patterns: tuple[Pattern, ...] = ()
    best: Best | None = None


def _harmonics(case: Case, best: Best, spectra: EnvelopeSpectra) -> tuple[LineEvidence, ...]:
    name = LINE_NAMES[case.fault][0]
    read = [
        read_line(spectra, best.band, h * best.order, best.width, f"{h} x {name}")
        for h in range(1, MOST_HARMONICS + 1)
    ]
    return tuple(line for line in read if line is not None)


def harmonic_depth(case: Case, looks: Sequence[EnvelopeSpectra]) -> float:
    """Modulation depth of a case's harmonics together, read narrowly and without sidebands."""
    if case.best is None:
        return 0.0
    narrow = replace(case.best, width=0.0)
    return float(
        np.sqrt(sum(line.depth**2 for line in _harmonics(case, narrow, looks[narrow.look])))
    )


def companions(
    leader: Case,
    waiting: Sequence[Case],
    looks: Sequence[EnvelopeSpectra],
    weights: Array,
    tests: int,
) -> tuple[Fault, ...]:
    """Other races or balls of the leader's bearing with lines that are not its sidebands.

    The sum of both race orders is the ball count: the ninth lower sideband of a nine-ball inner
    race lies exactly on the outer race's order.  Only a line beside that place is one of its own.
    """
    best = leader.best
    assert best is not None
    sides = np.arange(-12, 13) * leader.bearing.shaft_order.value
    harmonics = np.arange(1, 2 * MOST_HARMONICS + 1) * best.order
    family = np.abs(harmonics[:, None] + sides).ravel()
    deepest = harmonic_depth(leader, looks)
    found: list[Fault] = []
    for case in waiting:
        if case.bearing != leader.bearing or case.fault in (leader.fault, "cage"):
            continue
        if case.best is None or log10_any(case.best.log_p, tests) > _WORTH_A_SEARCH_LOG10:
            continue
        # Harmonics alone: where the leader is strong, the other's sidebands meet its lines.
        plain = search(looks, case.low, case.high, case.widths, weights, case.patterns[:1])
        case = replace(case, best=plain)
        if plain is None or log10_any(plain.log_p, tests) > _COMPANION_LOG10:
            continue
        if harmonic_depth(case, looks) < _COMPANION_SHARE * deepest:
            continue
        width = 2.0 * max(best.width, plain.width)
        spectra = looks[plain.look]
        alone = [
            line.label[:1]
            for line in _harmonics(case, plain, spectra)
            if line.log10_p < _COMPANION_LINE_LOG10
            and float(np.min(np.abs(family - line.order))) > 2 * spectra.step + width * line.order
        ]
        if "1" in alone and len(alone) >= _COMPANION_LINES:
            found.append(case.fault)
    return tuple(found)


def describe(
    case: Case,
    best: Best,
    home: Group,
    spectra: EnvelopeSpectra,
    tests: int,
    competitors: Sequence[Competitor],
) -> Hypothesis:
    """The hypothesis at its best place, as a frozen value.

    Args:
        case: what is claimed.
        best: where its lines were found.
        home: the group it was found in.
        spectra: the group's spectra at the time.
        tests: hypotheses to correct for.
        competitors: other causes, named where they lie close.
    """
    name, step = LINE_NAMES[case.fault]
    harmonics = _harmonics(case, best, spectra)
    # What a cage carries may slip by as much as its knocks scatter.
    width = case.widths[-1] if case.fault == "cage" else 0.5 * best.width
    sidebands, sidebands_log10_p = sideband_lines(
        spectra, best, case.bearing.sideband_order(case.fault), width, name, step
    )
    place = min(round(best.order / spectra.step), spectra.floor.shape[1] - 1)
    depth = max((line.depth for line in harmonics), default=0.0)
    close = _coincides(best, depth, spectra, competitors)
    if case.fault == "cage":
        close += _beats(case, best, spectra, competitors)
    return Hypothesis(
        bearing=case.bearing,
        fault=case.fault,
        expected_order=case.bearing.order(case.fault),
        order=best.order,
        range=(case.low, case.high),
        log10_p=log10_any(best.log_p, tests),
        band=home.merits[best.band].band,
        look=LOOKS[best.look],
        line_width=best.width,
        harmonics=harmonics,
        sidebands=sidebands,
        sidebands_log10_p=sidebands_log10_p,
        depth=depth,
        share=0.0,
        family_depth=0.0,
        least_depth=float(np.sqrt(_FINDABLE_LEVEL * np.median(spectra.floor[:, place]))),
        coincides=tuple(name for name, lower in close if lower),
        incomplete=tuple(name for name, lower in close if not lower),
    )


def _coincides(
    best: Best, depth: float, spectra: EnvelopeSpectra, competitors: Sequence[Competitor]
) -> list[tuple[str, bool]]:
    """Causes that fall on the first harmonic, and whether their lower multiples allow it."""
    close = MASK_LINES * spectra.step + max(_CLOSE, 2.0 * best.width) * best.order
    found = []
    for cause in competitors:
        multiple = max(1, round(best.order / cause.order))
        reach = close + 2.0 * multiple * cause.standard_uncertainty
        if abs(multiple * cause.order - best.order) >= reach:
            continue
        name = cause.cause
        if multiple > 1:
            name = say("{multiple} x {cause}", multiple=multiple, cause=cause.cause)
        found.append((name, _allowed(cause, best, multiple, depth, spectra)))
    return found


def _beats(
    case: Case, best: Best, spectra: EnvelopeSpectra, competitors: Sequence[Competitor]
) -> list[tuple[str, bool]]:
    """Causes that beat with the shaft at a cage's rate: what knocks at shaft - cage.

    A belt of that order leaves all the lines that a cage leaves under a load that turns.
    """
    shaft = case.bearing.shaft_order.value
    close = MASK_LINES * spectra.step + max(_CLOSE, 2.0 * best.width) * best.order
    return [
        (say("one turn of the shaft less {cause}", cause=cause.cause), True)
        for cause in competitors
        if abs(abs(shaft - cause.order) - best.order) < close + 2.0 * cause.standard_uncertainty
    ]


def _allowed(
    cause: Competitor, best: Best, multiple: int, depth: float, spectra: EnvelopeSpectra
) -> bool:
    """Whether a cause can make blows at this multiple of its turn, given its lower multiples.

    With n alike places on its turn a cause shows every n-th multiple.
    """
    most = cause.most_places
    if most is None or multiple <= most:
        return True
    lowers = [
        _lower_depth(best, multiple, n, spectra) for n in range(1, most + 1) if multiple % n == 0
    ]
    return max(lowers) >= _LOWER_SHARE * depth


def _lower_depth(best: Best, multiple: int, step: int, spectra: EnvelopeSpectra) -> float:
    """Median depth at every `step`-th lower multiple of what has the found order as a multiple.

    Read where the found order itself puts them, in the same band; lines set aside are read too,
    since they are set aside for this very cause.
    """
    depths = []
    for k in range(step, multiple, step):
        place = k * best.order / multiple / spectra.step
        half = round(place * best.width) + 1
        first, past = max(1, round(place) - half), round(place) + half + 1
        depths.append(spectra.depth(best.band, first, past))
    return float(np.median(depths)) if depths else 0.0
