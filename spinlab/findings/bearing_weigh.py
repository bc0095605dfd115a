"""How likely a family of lines is the damage it fits: chance and every rival weighed.

A probability is (1 - chance) x (1 - other): chance is what the corrected odds leave to noise,
given how rare such damage is to begin with; other is what remains for everything that makes lines
and is not this damage.  The parts of *other* are stated one by one, as rivals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from spinlab.bearings import BearingEvidence, Hypothesis
from spinlab.bearings.evidence import SpeedTest, StageEvidence
from spinlab.envelope.significance import log_survival
from spinlab.finding import Cause
from spinlab.findings.bearing_numbers import WORTH_SAYING_LOG10
from spinlab.findings.bearing_odds import chance_of_noise, healthy_share, missing_share
from spinlab.findings.bearing_roar import cage_probability
from spinlab.phrase import say
from spinlab.recording import Kind

# What is left for causes nobody thought of.
UNKNOWN_CAUSE = 0.02
# A family never seen at another speed may come from something that does not turn with the drum.
UNTESTED_SPEED = 0.05
# Lines that vanish at a higher speed are hardly impacts.
ONE_STRETCH = 0.7
# Left to something else where the lines keep their frequency instead of their order.
STAYS_PUT = 0.95
# A family whose first harmonic lies on another cause's order is as likely to be that.
COINCIDES = 0.5
# The same where the cause would have to show its lower multiples too and does not: that takes
# several places at equal distances.
INCOMPLETE = 0.05
# Lines at simple fractions of a turn explain as much as the damage does.
FRACTIONS = 0.9
# A second damage beside the first, less deep than this share of it, may be the first's by-product.
SECOND_SHARE = 0.4
SECOND_RIVAL = 0.7
_FAINT = 0.01
# A first harmonic this rare stands by itself; a fainter one must at least be this share of the
# strongest (in logarithms of p), or so much is left to other lines.
FIRST_STANDS_LOG10 = -4.0
FIRST_SHARE = 0.35
FIRST_MISSING = 0.7
# Damage that the load passes once per turn of ring or cage.
CARRIES_SIDEBANDS = ("inner race", "ball")
# A cage's knocks are short and make a second harmonic, or beat with a load that turns.  A first
# harmonic alone, the others under this rarity and this share of it (in logarithms of p), is a
# swell of noise: worn rings, a seal that rubs; it is weighed as such (`bearing_roar`).
KNOCKS_LOG10 = -2.0
KNOCKS_SHARE = 0.2
SWELLS = 0.7
# A rival less likely than this is not worth a line of the report.
WORTH_NAMING = 0.005
# So many harmonics do not come together by chance.
COMB_STANDS = 3


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One family of lines with its probability as damage, and its rivals'."""

    hypothesis: Hypothesis
    stages: tuple[StageEvidence, ...]
    speed: SpeedTest
    probability: float
    rivals: tuple[Cause, ...]


def judge(evidence: BearingEvidence, kind: Kind) -> list[Judged]:
    """One entry per family found, not per bearing that it fits."""
    judged: list[Judged] = []
    seen: set[float] = set()
    pairs = zip(evidence.hypotheses, evidence.stages, evidence.speed_tests, strict=False)
    for hypothesis, stages, speed in pairs:
        if hypothesis.order in seen:
            continue
        seen.add(hypothesis.order)
        deepest = max((one.hypothesis.family_depth for one in judged), default=0.0)
        probability, rivals = _weigh(hypothesis, speed, kind, deepest)
        judged.append(
            Judged(
                hypothesis=hypothesis,
                stages=stages,
                speed=speed,
                probability=probability,
                rivals=rivals,
            )
        )
    return sorted(judged, key=lambda one: -one.probability)


def against_speed(speed: SpeedTest) -> list[tuple[str, float]]:
    """What the test against speed leaves to causes that do not turn with the drum."""
    if speed.follows == "no":
        return [("something that does not turn with the drum", STAYS_PUT)]
    if speed.follows == "one stretch":
        return [("something that runs at one speed of the drum only", ONE_STRETCH)]
    if speed.follows == "not tested":
        return [("something that does not turn with the drum", UNTESTED_SPEED)]
    return []


def _weigh(
    hypothesis: Hypothesis, speed: SpeedTest, kind: Kind, deepest: float
) -> tuple[float, tuple[Cause, ...]]:
    """Probability of the damage, and of each rival."""
    chance = chance_of_noise(hypothesis.log10_p)
    depth = _depth(hypothesis)
    others: list[tuple[str, float]] = [
        ("a cause nobody listed", UNKNOWN_CAUSE),
        ("other lines of the machine, of which these are a part", _part_of_others(hypothesis)),
        ("ball passes of a healthy bearing", healthy_share(depth, kind)),
    ]
    if hypothesis.fault == "cage" and _swells(hypothesis):
        others.append(("noise that swells at this rate without knocks", SWELLS))
    others += [(cause, COINCIDES) for cause in hypothesis.coincides]
    others += [
        (say("{cause}, though its lower multiples are missing", cause=cause), INCOMPLETE)
        for cause in hypothesis.incomplete
    ]
    if hypothesis.fractions > 1:
        parts = say(
            "lines at {fractions}ths of a turn: speed read at a multiple, or a gear",
            fractions=hypothesis.fractions,
        )
        others.append((parts, FRACTIONS))
    others += against_speed(speed)
    if depth < SECOND_SHARE * deepest:
        others.append(("a by-product of the stronger damage", SECOND_RIVAL))
    stands = 1.0 - chance
    for _, share in others:
        stands *= 1.0 - share
    left = 1.0 - stands
    weights = [("chance", chance), *others]
    total = sum(share for _, share in weights) or 1.0
    rivals = tuple(
        Cause(cause=cause, probability=round(left * share / total, 4))
        for cause, share in sorted(weights, key=lambda item: -item[1])
        if left * share / total >= WORTH_NAMING
    )
    return stands, rivals


def _part_of_others(hypothesis: Hypothesis) -> float:
    """What is left to other lines: those the family does not explain, or those it borrows.

    Blows make their first harmonic the strongest, or nearly (an impulse's comb is flat, ringing
    and a room's tail weaken its upper end).  Where it is missing the others came together by
    chance: beats between tones of motor and belt.
    """
    share = missing_share(hypothesis.share)
    combs = _combs(hypothesis)
    strongest = min(combs.values(), default=0.0)
    # None: another cause's line lies on it, so that nothing can be said.
    first = combs.get("1")
    least = max(FIRST_STANDS_LOG10, FIRST_SHARE * strongest)
    missing = first is not None and first > least
    # A comb of several stands without its first, but not without its second as well.
    several = sum(comb < FIRST_STANDS_LOG10 for comb in combs.values()) >= COMB_STANDS
    missing &= not several or combs.get("2", strongest) > least
    return max(share, FIRST_MISSING) if missing else share


def _combs(hypothesis: Hypothesis) -> dict[str, float]:
    """log10 p of each harmonic that is free, by its number.

    A load that turns past the damage moves power from a harmonic into its sidebands: lines of
    their own, so that under noise the nepers of all add up to a gamma variable (Fisher).  A few of
    them that do not stand take nothing from a harmonic that stands by itself: the rarer of both
    readings counts, twice.
    """
    found = {}
    for line in hypothesis.harmonics:
        number = line.label[0]
        sides = [
            side.log10_p
            for side in hypothesis.sidebands
            if hypothesis.fault in CARRIES_SIDEBANDS and side.label[0] == number
        ]
        found[number] = line.log10_p
        if sides:
            nepers = -math.log(10.0) * (line.log10_p + sum(sides))
            together = float(log_survival(1 + len(sides), nepers)) / math.log(10.0)
            found[number] = min(0.0, min(line.log10_p, together) + math.log10(2.0))
    return found


def _depth(hypothesis: Hypothesis) -> float:
    """Modulation depth of the family: of its lines that stand out of all lines of the band.

    Where a load moves the power into many sidebands none of them may; those count then that are
    worth a word at their own place.
    """
    shown = max(hypothesis.family_depth, hypothesis.depth)
    if hypothesis.family_depth > 0.0 or hypothesis.fault not in CARRIES_SIDEBANDS:
        return shown
    lines = hypothesis.harmonics + hypothesis.sidebands
    worth = sum(line.depth**2 for line in lines if line.log10_p < WORTH_SAYING_LOG10)
    return max(shown, math.sqrt(worth))


def _swells(hypothesis: Hypothesis) -> bool:
    """Whether a cage's first harmonic stands alone: no knocks."""
    lines = hypothesis.harmonics + hypothesis.sidebands
    first = min((line.log10_p for line in lines if line.label == "1 x FTF"), default=0.0)
    upper = [line.log10_p for line in lines if line.label[0] in "23"]
    # Where another cause lies on the second nothing can be said.
    second = any(line.label == "2 x FTF" for line in lines)
    if first > FIRST_STANDS_LOG10 or not second:
        return False
    return min(upper) > min(KNOCKS_LOG10, KNOCKS_SHARE * first)


def strongest_probability(evidence: BearingEvidence, *, kind: Kind) -> float:
    """Highest probability of any listed damage, whether or not it makes a finding.

    For benchmarks: ranks recordings from surely healthy to surely damaged.  What chance easily
    explains ranks by the odds against chance alone, below what was weighed and believed.
    """
    judged = judge(evidence, kind) if not evidence.reason else []
    unweighed = evidence.hypotheses[len(evidence.stages) :]
    rarest = min((h.log10_p for h in unweighed), default=0.0)
    if evidence.roar is not None and evidence.roar.cage_line is not None:
        rarest = min(rarest, evidence.roar.cage_line.log10_p)
    faint = _FAINT * (1.0 - 10.0**rarest)
    strongest = max((one.probability for one in judged), default=0.0)
    return max(strongest, faint, cage_probability(evidence.roar, kind=kind))
