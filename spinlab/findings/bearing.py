"""From bearing evidence to findings: the only place where bearing evidence meets a threshold.

No remaining life is ever stated: a sound does not hold it.
"""

from __future__ import annotations

import numpy as np

from spinlab.bearings import BearingEvidence
from spinlab.bearings.evidence import Family
from spinlab.finding import Cause, Finding
from spinlab.findings.bearing_numbers import family_numbers, hypothesis_numbers
from spinlab.findings.bearing_odds import (
    DEPTH_HALF,
    SHARE_HALF,
    chance_of_noise,
    healthy_share,
)
from spinlab.findings.bearing_roar import cage_findings
from spinlab.findings.bearing_weigh import Judged, against_speed, judge
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
from spinlab.findings.judge import ATTENTION_FROM, state_of
from spinlab.phrase import join, listed, say, sentence
from spinlab.recording import Kind

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
UNKNOWN_LOG10 = -8.0
UNKNOWN_MOST = 0.6


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
    judged = judge(evidence, kind)
    findings = [_damage(one, evidence) for one in judged if one.probability >= ATTENTION_FROM]
    if not findings:
        findings += cage_findings(evidence.roar, kind=kind)
        unlisted = (_unlisted(family, kind) for family in evidence.unknown)
        findings += [finding for finding in unlisted if finding is not None]
    return tuple(findings) or (_nothing(evidence, kind),)


def _damage(judged: Judged, evidence: BearingEvidence) -> Finding:
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
        state=state_of(judged.probability),
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


def _proof(judged: Judged, undecided: bool) -> str:
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


def _unlisted(family: Family, kind: Kind) -> Finding | None:
    """None where the family is too faint, explained, or does not move with the drum."""
    if (
        family.log10_p >= UNKNOWN_LOG10
        or family.cause
        or family.speed is None
        or family.share < SHARE_HALF
        or family.family_depth < DEPTH_HALF[kind]
    ):
        return None
    chance = chance_of_noise(family.log10_p)
    stands = (1.0 - chance) * (1.0 - healthy_share(family.family_depth, kind)) * UNKNOWN_MOST
    for _, share in against_speed(family.speed):
        stands *= 1.0 - share
    if stands < ATTENTION_FROM:
        return None
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
                "number, fits no listed bearing ({log10_p}); {speed}; {fits}.",
                order=family.order,
                log10_p=rare(family.log10_p),
                speed=family.speed.reason,
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
