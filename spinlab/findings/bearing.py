"""From bearing evidence to findings: the only place where bearing evidence meets a threshold.

A finding's probability is (1 - chance) x (1 - other): chance is what the corrected odds leave to
noise, given how rare such damage is to begin with; other is what remains for everything that
makes lines and is not this damage.  The parts of *other* are stated one by one, as rivals.

No remaining life is ever stated: a sound does not hold it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinlab.bearings import BearingEvidence, Hypothesis
from spinlab.bearings.evidence import Family, SpeedTest, StageEvidence
from spinlab.finding import Cause, Finding, State
from spinlab.findings.bearing_numbers import family_numbers, hypothesis_numbers
from spinlab.findings.bearing_odds import (
    DEPTH_HALF,
    SHARE_HALF,
    chance_of_noise,
    healthy_share,
    missing_share,
)
from spinlab.findings.bearing_roar import cage_findings, cage_probability
from spinlab.findings.bearing_words import (
    NEXT_DRUM,
    NEXT_LISTEN,
    NEXT_MOTOR,
    NEXT_RECORDING,
    NEXT_SPEED,
    NEXT_UNKNOWN,
    PARTS,
    rare,
)
from spinlab.phrase import join, listed, say, sentence
from spinlab.recording import Kind

# Probability from which a statement is called a fault, or worth attention.
FAULT_FROM = 0.80
ATTENTION_FROM = 0.35
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
# Lines at simple fractions of a turn explain as much as the damage does.
FRACTIONS = 0.9
# A second damage beside the first, less deep than this share of it, may be the first's by-product.
SECOND_SHARE = 0.4
SECOND_RIVAL = 0.7
# Below this depth the lines of a sister race leave open which part is damaged.
OVERWHELMING_DEPTH = 0.6
# Bearings and their seats ring from about here up; common practice, no published source.
RESONANCE_FROM_HZ = 2000.0
LEAST_TOP_HZ = 2.0 * RESONANCE_FROM_HZ
# "Nothing found" says something only if damage of this depth would have been found: less than
# half of the open rigs' weakest fault on the housing, and in air a depth that a good part of the
# simulated faults of middling severity exceeds.
CLEAR_DEPTH = {"acceleration": 0.17, "sound": 0.06}
# A blind search is asked more of, and never reaches a fault by itself.
UNKNOWN_LOG10 = -5.0
UNKNOWN_MOST = 0.6
_FAINT = 0.01


@dataclass(frozen=True, kw_only=True)
class _Judged:
    hypothesis: Hypothesis
    stages: tuple[StageEvidence, ...]
    speed: SpeedTest
    probability: float
    rivals: tuple[Cause, ...]


def bearing_findings(evidence: BearingEvidence, *, kind: Kind) -> tuple[Finding, ...]:
    """Every statement about the bearings, the strongest first; never empty.

    Args:
        evidence: what `spinlab.bearings.detect` measured.
        kind: of the recording.
    """
    if evidence.reason:
        return (_not_measurable(evidence.reason, NEXT_RECORDING),)
    top_hz = evidence.usable_band_hz[1]
    if top_hz < LEAST_TOP_HZ:
        return (
            _not_measurable(
                say(
                    "the usable band ends at {top:.0f} Hz, and bearings and their seats "
                    "ring from about {resonance_from:.0f} Hz up",
                    top=top_hz,
                    resonance_from=RESONANCE_FROM_HZ,
                ),
                NEXT_RECORDING,
            ),
        )
    judged = _judge(evidence, kind)
    findings = [_damage(one, evidence) for one in judged if one.probability >= ATTENTION_FROM]
    if not findings:
        findings += cage_findings(evidence.roar, kind=kind)
        findings += [_unlisted(family, kind) for family in evidence.unknown if _worth(family, kind)]
    return tuple(findings) or (_nothing(evidence, kind),)


def _judge(evidence: BearingEvidence, kind: Kind) -> list[_Judged]:
    """One entry per family found, not per bearing that it fits."""
    judged: list[_Judged] = []
    seen: set[float] = set()
    pairs = zip(evidence.hypotheses, evidence.stages, evidence.speed_tests, strict=False)
    for hypothesis, stages, speed in pairs:
        if hypothesis.order in seen:
            continue
        seen.add(hypothesis.order)
        deepest = max((one.hypothesis.family_depth for one in judged), default=0.0)
        probability, rivals = _weigh(hypothesis, speed, kind, deepest)
        judged.append(
            _Judged(
                hypothesis=hypothesis,
                stages=stages,
                speed=speed,
                probability=probability,
                rivals=rivals,
            )
        )
    return sorted(judged, key=lambda one: -one.probability)


def _weigh(
    hypothesis: Hypothesis, speed: SpeedTest, kind: Kind, deepest: float
) -> tuple[float, tuple[Cause, ...]]:
    """Probability of the damage, and of each rival."""
    chance = chance_of_noise(hypothesis.log10_p)
    depth = max(hypothesis.family_depth, hypothesis.depth)
    others: list[tuple[str, float]] = [
        ("a cause nobody listed", UNKNOWN_CAUSE),
        ("other lines of the machine, of which these are a part", missing_share(hypothesis.share)),
        ("ball passes of a healthy bearing", healthy_share(depth, kind)),
    ]
    others += [(cause, COINCIDES) for cause in hypothesis.coincides]
    if hypothesis.fractions > 1:
        parts = say(
            "lines at {fractions}ths of a turn: speed read at a multiple, or a gear",
            fractions=hypothesis.fractions,
        )
        others.append((parts, FRACTIONS))
    if speed.follows == "no":
        others.append(("something that does not turn with the drum", STAYS_PUT))
    elif speed.follows == "one stretch":
        others.append(("something that runs at one speed of the drum only", ONE_STRETCH))
    elif speed.follows == "not tested":
        others.append(("something that does not turn with the drum", UNTESTED_SPEED))
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
        if left * share / total >= 0.005
    )
    return stands, rivals


def _state(probability: float) -> State:
    if probability >= FAULT_FROM:
        return "fault"
    return "attention" if probability >= ATTENTION_FROM else "clear"


def _damage(judged: _Judged, evidence: BearingEvidence) -> Finding:
    hypothesis = judged.hypothesis
    undecided = bool(hypothesis.companions) and hypothesis.family_depth < OVERWHELMING_DEPTH
    named = [(hypothesis.bearing.name, hypothesis.fault), *hypothesis.also_fits]
    names: list[str] = []
    for name, fault in named:
        other = name if undecided else say("{name}, {parts}", name=name, parts=PARTS[fault])
        if other not in names:
            names.append(other)
    rivals = judged.rivals
    if undecided:
        share = 0.5 * judged.probability
        parts = listed(sorted({*hypothesis.companions, "ball"}))
        rivals = (
            Cause(
                cause=say("{parts} instead of {fault}", parts=parts, fault=hypothesis.fault),
                probability=share,
            ),
            *rivals,
        )
    on_motor = hypothesis.bearing.shaft_order.value > 1.5
    step = NEXT_MOTOR if on_motor else NEXT_DRUM
    if judged.speed.follows == "not tested":
        step += " " + NEXT_SPEED
    return Finding(
        kind="bearing",
        subject=_either(names),
        state=_state(judged.probability),
        probability=round(judged.probability, 4),
        evidence=hypothesis_numbers(hypothesis, judged.stages, judged.speed, tests=evidence.tests),
        rivals=rivals,
        next_step=step,
        reason=_proof(judged, undecided),
    )


def _either(names: list[str]) -> str:
    """ "a", "a or b", "a, b or c"."""
    if len(names) < 2:
        return names[0]
    return say("{first} or {last}", first=join(", ", names[:-1]), last=names[-1])


def _proof(judged: _Judged, undecided: bool) -> str:
    h = judged.hypothesis
    found = [line for line in h.harmonics if line.log10_p < -2.0]
    text = say(
        "Impacts {order:.3f} times per drum turn ({expected_order:.3f} "
        "expected for {fault} damage), {found} harmonics, in the band "
        "{low:.0f}-{high:.0f} Hz; {log10_p}; {reason}.",
        order=h.order,
        expected_order=h.expected_order,
        fault=h.fault,
        found=len(found),
        low=h.band.low_hz,
        high=h.band.high_hz,
        log10_p=rare(h.log10_p),
        reason=judged.speed.reason,
    )
    if undecided:
        text += say(
            " Lines of the {companions} stand beside them, as when a damaged "
            "ball or dirt has marked both races: which part it is stays "
            "undecided.",
            companions=listed(h.companions),
        )
    if h.also_fits:
        text += " The lines fit each bearing named equally well; the recording cannot choose."
    if not h.bearing.geometry.exact:
        text += say(
            " The geometry is not exact for this make (within {tolerance:.1f} %).",
            tolerance=100 * h.bearing.geometry.tolerance,
        )
    return text


def _worth(family: Family, kind: Kind) -> bool:
    return (
        family.log10_p < UNKNOWN_LOG10
        and not family.cause
        and family.share >= SHARE_HALF
        and family.family_depth >= DEPTH_HALF[kind]
    )


def _unlisted(family: Family, kind: Kind) -> Finding:
    chance = chance_of_noise(family.log10_p)
    stands = (1.0 - chance) * (1.0 - healthy_share(family.family_depth, kind)) * UNKNOWN_MOST
    named = listed(
        [
            say("{designation} ({fault})", designation=r.geometry.designation, fault=r.fault)
            for r in family.rows[:3]
        ]
    )
    fits = (
        say("of the catalogue {named} would explain it", named=named)
        if family.rows
        else "no catalogue row explains it"
    )
    return Finding(
        kind="bearing",
        subject="a bearing that is not listed",
        state="attention",
        probability=round(stands, 4),
        evidence=family_numbers(family),
        rivals=(Cause(cause="another part with a rate of its own", probability=1.0 - stands),),
        next_step=NEXT_UNKNOWN,
        reason=(
            say(
                "A family of lines at {order:.3f} times the drum's rate, not a whole "
                "number, fits no listed bearing ({log10_p}); {fits}.",
                order=family.order,
                log10_p=rare(family.log10_p),
                fits=fits,
            )
        ),
    )


def _nothing(evidence: BearingEvidence, kind: Kind) -> Finding:
    if not evidence.hypotheses:
        return _not_measurable(
            "no bearing is listed for this machine and no unknown one shows itself",
            "Give the bearings' designations in the machine profile.",
        )
    depth = float(np.median([h.least_depth for h in evidence.hypotheses]))
    if depth > CLEAR_DEPTH[kind]:
        return _not_measurable(
            say(
                "damage would have had to modulate the noise by {depth:.0f} % to be "
                "found here; {clear_depth:.0f} % is usual for damage of middling "
                "severity",
                depth=100 * depth,
                clear_depth=100 * CLEAR_DEPTH[kind],
            ),
            NEXT_LISTEN,
        )
    strongest = min(evidence.hypotheses, key=lambda h: h.log10_p)
    return Finding(
        kind="bearing",
        subject="bearings",
        state="clear",
        evidence={
            "least_depth": depth,
            "turns": evidence.turns,
            "strongest": {
                "bearing": strongest.bearing.name,
                "damage": strongest.fault,
                "log10_chance": strongest.log10_p,
                "family_depth": strongest.family_depth,
                "share_of_lines": strongest.share,
            },
        },
        reason=(
            say(
                "No race, ball or cage of the listed bearings shows damage: over "
                "{turns:.0f} turns anything that modulates the noise by more than "
                "{depth:.0f} % would stand out. First signs may be weaker.",
                turns=evidence.turns,
                depth=100 * depth,
            )
        ),
    )


def _not_measurable(reason: str, next_step: str) -> Finding:
    return Finding(
        kind="bearing",
        subject="bearings",
        state="not measurable",
        next_step=next_step,
        reason=sentence(reason),
    )


def strongest_probability(evidence: BearingEvidence, *, kind: Kind) -> float:
    """Highest probability of any listed damage, whether or not it makes a finding.

    For benchmarks: ranks recordings from surely healthy to surely damaged.  Where chance easily
    explains everything, the odds against chance rank alone, below all others.
    """
    judged = _judge(evidence, kind) if not evidence.reason else []
    rarest = min((h.log10_p for h in evidence.hypotheses), default=0.0)
    faint = _FAINT * (1.0 - chance_of_noise(rarest))
    strongest = max((one.probability for one in judged), default=faint)
    return max(strongest, cage_probability(evidence.roar, kind=kind))
