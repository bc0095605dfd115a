"""Which damage explains the lines, strongest first, each set aside before the next is judged.

The strongest family found is taken as explained: its lines and sidebands are set aside and the
others are looked at again in what is left.  So a second damage is found beside the first, and
the third harmonic of one race is not taken for another.  Hypotheses whose searched range holds
the very order found share its evidence: both are named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from spinlab.bearings.describe import Case, companions, describe, harmonic_depth
from spinlab.bearings.evidence import Competitor, Hypothesis
from spinlab.bearings.families import dominance, family_lines, shaft_scale, simple_fraction
from spinlab.bearings.geometry import FAULTS, Fault, MountedBearing
from spinlab.bearings.group import Group
from spinlab.bearings.patterns import (
    HIGHEST,
    Pattern,
    carried_pattern,
    harmonics_pattern,
    sidebands_pattern,
)
from spinlab.bearings.score import SLIP_WIDTHS, Best, log10_any, search
from spinlab.bearings.spectra import EnvelopeSpectra

Looks = tuple[EnvelopeSpectra, ...]

# Nearly as rare: this share of the rarest one's ln p; or as rare as two lines can be.
_RARE_SHARE = 0.5
_STANDS_ALONE_LOG_P = -2.0 * HIGHEST
# Sidebands that carry so much of a damage's power that they are looked for with its harmonics: a
# place on the inner ring meets the load once a turn, a ball's once per turn of the cage.
_PATTERN_SIDES: dict[Fault, int] = {"inner race": 2, "ball": 1}
# Sidebands by which a rarer family is known: those, and the outer race's, which a load that turns
# passes once a turn.
_KNOWN_SIDES: dict[Fault, int] = {**_PATTERN_SIDES, "outer race": 2}
# Odds saturate, so that of two strong families either may be called the rarer: the other is its
# sideband only if its own harmonics are at least this share as deep.
_SIDE_OF_SHARE = 0.3
# What chance explains more often than this is worth no control and no second look.
WORTH_A_LOOK_LOG10 = -1.3
_MOST_ROUNDS = 4
# Lines are set aside for the rest only where their explanation is this unlikely to be chance and
# covers this share of all lines: a doubtful family must not swallow a true one.
_SET_ASIDE_LOG10 = -3.0
_SET_ASIDE_SHARE = 0.5
# Sidebands that belong to a family, either side of each harmonic, and those the cage adds.
_SIDES = 4
_CAGE_SIDES = 2
_SHAFT_SIDES = 2
# A strong line has skirts (random slip is a random walk of the balls' phase): twice the width it
# was read over is set aside, and at least this much.
_LEAST_WIDTH = 0.004
# A cage's knocks have no raceway to space them, and scatter by up to a few percent of their
# distance: widths of its first line.  At 5 % a harmonic is 2 pi (0.05 h)^2 of its order wide, and
# from the fourth on neighbours run into each other.
CAGE_WIDTHS = (0.0, 0.007)
_CAGE_HARMONICS = 3
# Fractions of a turn that explain the lines as well as the family does, within this share.
_AS_MUCH = 0.1


@dataclass(frozen=True, kw_only=True)
class Explained:
    """The hypotheses, leaders first, and the spectra with every explained line set aside.

    Attributes:
        hypotheses: leaders in order of strength, each followed by those that share its lines,
            then the rest.
        groups: for each hypothesis, the group it was found in.
        leaders: number of hypotheses that chance does not explain easily.
        spectra: the looks of each group, the leaders' lines set aside.
        tests: hypotheses corrected for.
    """

    hypotheses: tuple[Hypothesis, ...]
    groups: tuple[int, ...]
    leaders: int
    spectra: tuple[Looks, ...]
    tests: int


def search_widths(uncertainty: float) -> tuple[float, ...]:
    """Relative widths of a line: slip, and the smear by the speed's own uncertainty."""
    widths = {*SLIP_WIDTHS, float(np.clip(uncertainty, 0.0005, 0.01))}
    return tuple(sorted(widths))


def explain(
    groups: Sequence[Group],
    uncertainty: float,
    competitors: Sequence[Competitor],
    *,
    courses: float = 1.0,
) -> Explained:
    """Judge every bearing and kind of damage of all groups.

    Args:
        groups: the groups, spectra with competing lines set aside.
        uncertainty: relative standard uncertainty of the speed.
        competitors: other causes, to name those that lie close.
        courses: of how many the track was chosen for what is looked for along it.
    """
    spectra = [group.looks for group in groups]
    scales = [shaft_scale(looks[0], 2.0 * uncertainty) for looks in spectra]
    waiting = _cases(groups, uncertainty)
    # Bearings of one size on one shaft are looked for at the same places.
    tests = len({(case.group, case.fault, case.low, case.high) for case in waiting})
    tests = round(tests * courses)
    waiting = [_searched(case, spectra, groups) for case in waiting]
    found: list[tuple[int, Hypothesis]] = []
    for _ in range(_MOST_ROUNDS):
        leader = _leader(waiting, spectra, tests)
        if leader is None or leader.best is None:
            break
        sharing = [c for c in waiting if c.low <= leader.best.order <= c.high]
        sharing.sort(key=lambda c: _misfit(c, leader))
        home = groups[leader.group]
        beside = companions(leader, waiting, spectra[leader.group], home.weights, tests)
        scale = scales[leader.group]
        seen = spectra[leader.group][leader.best.look]
        family = _family(sharing, leader, home, seen, scale, tests, competitors)
        found += [(leader.group, replace(one, companions=beside)) for one in family]
        waiting = [case for case in waiting if case not in sharing]
        share = max((one.share for one in family), default=0.0)
        if log10_any(leader.best.log_p, tests) < _SET_ASIDE_LOG10 and share > _SET_ASIDE_SHARE:
            spectra = [
                tuple(
                    one.without(_own_lines(leader, leader.best, one.highest_order, wide=True))
                    for one in looks
                )
                for looks in spectra
            ]
            waiting = [
                _searched(case, spectra, groups) if _log_p(case) < -3.0 else case
                for case in waiting
            ]
    leaders = len(found)
    for case in sorted(waiting, key=_log_p):
        if case.best is not None:
            home = groups[case.group]
            seen = spectra[case.group][case.best.look]
            hypothesis = describe(case, case.best, home, seen, tests, competitors)
            found.append((case.group, hypothesis))
    return Explained(
        hypotheses=tuple(hypothesis for _, hypothesis in found),
        groups=tuple(group for group, _ in found),
        leaders=leaders,
        spectra=tuple(spectra),
        tests=tests,
    )


def _leader(waiting: Sequence[Case], spectra: Sequence[Looks], tests: int) -> Case | None:
    """The case that explains the lines best; None where chance explains them all.

    Every race order is a multiple of a cage order (BPFO = N x FTF): a cage is considered only
    when no race and no ball explains the lines.  Among the others that are nearly as rare as the
    rarest the deepest harmonics lead: odds saturate, and a family of sidebands is as rare as the
    family itself, but less deep, unless a narrow load zone moves most of the power into it: what
    stands on a rarer family's sideband does not lead.  What borrows one harmonic of another may be
    deep, but is far from as rare.  Doubtful cases are considered when no convincing one is left.
    """
    worthy: list[Case] = []
    for limit in (_SET_ASIDE_LOG10, WORTH_A_LOOK_LOG10):
        worthy = worthy or [c for c in waiting if log10_any(_log_p(c), tests) < limit]
    if not worthy:
        return None
    parts = [c for c in worthy if c.fault != "cage"] or worthy
    rarest = min(_log_p(c) for c in parts)
    least = max(_RARE_SHARE * rarest, _STANDS_ALONE_LOG_P)
    rare = [c for c in parts if _log_p(c) <= least]
    free = [c for c in rare if not any(_on_sideband(c, other, spectra) for other in rare)]
    return max(free, key=lambda c: harmonic_depth(c, spectra[c.group]))


def _on_sideband(case: Case, other: Case, spectra: Sequence[Looks]) -> bool:
    """Whether a case's first harmonic is a sideband of another's, rarer and deep family's first."""
    mine, its = case.best, other.best
    if mine is None or its is None or case.group != other.group or mine.log_p <= its.log_p:
        return False
    sides = _KNOWN_SIDES.get(other.fault, 0)
    step = other.bearing.sideband_order(other.fault)
    places = [its.order + side * step for side in range(-sides, sides + 1) if side]
    near = 2.0 * spectra[case.group][mine.look].step + 2.0 * max(mine.width, its.width) * its.order
    if not any(abs(mine.order - place) < near for place in places):
        return False
    looks = spectra[case.group]
    return harmonic_depth(other, looks) >= _SIDE_OF_SHARE * harmonic_depth(case, looks)


def _cases(groups: Sequence[Group], uncertainty: float) -> list[Case]:
    widths = search_widths(uncertainty)
    cases = []
    for index, group in enumerate(groups):
        for bearing in group.bearings:
            for fault in FAULTS:
                low, high = bearing.search_range(fault, uncertainty)
                cases.append(
                    Case(
                        group=index,
                        bearing=bearing,
                        fault=fault,
                        low=low,
                        high=high,
                        widths=widths if fault != "cage" else CAGE_WIDTHS,
                        patterns=patterns_of(bearing, fault),
                    )
                )
    return cases


def patterns_of(bearing: MountedBearing, fault: Fault) -> tuple[Pattern, ...]:
    """The patterns of lines that a kind of damage is looked for in."""
    if fault == "cage":
        plain = harmonics_pattern(_CAGE_HARMONICS, random_walk=True)
        shaft = bearing.shaft_order.value
        return plain, carried_pattern(bearing.order(fault), shaft, _CAGE_HARMONICS)
    if fault not in _PATTERN_SIDES:
        return (harmonics_pattern(),)
    step = bearing.sideband_order(fault)
    return harmonics_pattern(), sidebands_pattern(step, _PATTERN_SIDES[fault])


def _searched(case: Case, spectra: Sequence[Looks], groups: Sequence[Group]) -> Case:
    weights = groups[case.group].weights
    best = search(spectra[case.group], case.low, case.high, case.widths, weights, case.patterns)
    return replace(case, best=best)


def _log_p(case: Case) -> float:
    return 0.0 if case.best is None else case.best.log_p


def _misfit(case: Case, leader: Case) -> float:
    """How far the leader's order lies from a case's own, as a share of its searched range."""
    assert leader.best is not None
    expected = case.bearing.order(case.fault)
    return abs(leader.best.order - expected) / (case.high - case.low)


def _own_lines(
    case: Case, best: Best, highest_order: float, *, wide: bool = False
) -> list[tuple[float, float]]:
    """The family's lines; `wide` adds what the bearing's cage may modulate besides."""
    sideband = case.bearing.sideband_order(case.fault)
    # Sidebands of a cage's own rate are its harmonics.
    steps = [(sideband, _SIDES)] if case.fault != "cage" else []
    if case.fault in ("ball", "cage"):
        # A load that turns with the shaft meets the balls at 1 - FTF: both rates and their sums.
        steps.append((case.bearing.shaft_order.value, _SHAFT_SIDES))
    elif wide:
        steps.append((case.bearing.order("cage"), _CAGE_SIDES))
    width = max(2.0 * best.width, _LEAST_WIDTH)
    walks = case.fault == "cage"
    return family_lines(best.order, steps, width, highest_order, random_walk=walks)


def _family(
    sharing: Sequence[Case],
    leader: Case,
    home: Group,
    spectra: EnvelopeSpectra,
    scale: float,
    tests: int,
    competitors: Sequence[Competitor],
) -> list[Hypothesis]:
    """Every hypothesis that the leader's lines fit, the closest to its own order first."""
    best = leader.best
    assert best is not None
    names = [(case.bearing.name, case.fault) for case in sharing]
    found = []
    for case in sharing:
        rest = spectra.without(_own_lines(case, best, spectra.highest_order))
        strength = dominance(spectra, rest, best.band)
        hypothesis = describe(case, best, home, spectra, tests, competitors)
        others = tuple(name for name in names if name != (case.bearing.name, case.fault))
        hypothesis = replace(
            hypothesis,
            share=strength.share,
            family_depth=strength.depth,
            also_fits=others,
            fractions=simple_fraction(
                spectra, best.band, scale, least_share=strength.share - _AS_MUCH
            ),
        )
        found.append(hypothesis)
    return found
