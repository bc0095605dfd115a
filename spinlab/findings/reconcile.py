"""Findings that explain the same evidence are made each other's rivals, with weights.

Each kind is judged by itself and may claim the same shaking.  Where several of a group speak at
once, their probabilities are scaled to sum to at most 1, unless they can be true together, and
each names the others.  A belt that could not be measured points to a stage that was missed; a stage
that was missed or late names what was found that would make it so, a consequence and no rival.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from spinlab.finding import Cause, Finding
from spinlab.phrase import join, say

# Groups of subjects that one and the same sign can come from.  Keyed by how a subject begins.
_SHARED_SIGNS: tuple[tuple[str, ...], ...] = (
    # strong first order, knocks, retries
    (
        "imbalance of the drum",
        "dampers and springs",
        "loose part or mount",
        "knocking once per turn",
        "machine walking",
        "slow beat of the vibration",
        "ramps given up",
    ),
    # a drum that does not follow its motor, or a speed that swings
    ("belt slip", "hunting of the speed", "wrong pulley or belt"),
    # a speed that is let go at once
    ("speed sensor of the motor", "ramps given up"),
    # an electrical order that is too strong
    ("lost phase", "position sensor"),
    # more power or drag than usual
    ("drag power", "drag while coasting"),
)
# Rivals by another name of what has a finding of its own.
_SAME_CAUSE = {
    "worn damper": "dampers and springs",
    "lost or weak phase": "lost phase",
    "steady belt slip": "belt slip",
    "belt slipping and gripping": "belt slip",
    "a loose part or counterweight": "loose part or mount",
    "hunting of the speed, which the amplitude follows": "hunting of the speed",
    "ramp given up for imbalance": "ramps given up",
}
_SPEAKING = ("attention", "fault")
# Why a drum does not come to its speed, as shares: common practice, no published source.
_WHY_MISSED = {
    "motor or its control": 0.4,
    "belt slip": 0.25,
    "drag, or load and water in the drum": 0.25,
    "low supply voltage": 0.1,
}
# What keeps a drum from its speed: the stage's finding and these are no rivals.
_HOLDS_BACK = (
    "belt slip",
    "lost phase",
    "position sensor",
    "speed sensor of the motor",
    "mains voltage",
    "drag while coasting",
    "imbalance of the drum",
    "drain before the spin",
)


def reconcile(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The same findings in the same order, with shared evidence named as rivals."""
    out = list(findings)
    for group in _SHARED_SIGNS:
        members = [
            k
            for k, finding in enumerate(out)
            if finding.state in _SPEAKING
            and finding.probability is not None
            and finding.subject.startswith(group)
        ]
        if len(members) > 1:
            _share(out, members)
    _point_to_missed_stage(out)
    _name_what_holds_back(out)
    return tuple(out)


def _point_to_missed_stage(out: list[Finding]) -> None:
    """A belt that could not be heard to slip says so beside a stage that slip would explain."""
    missed = next((f for f in out if "missed_rpm" in f.evidence and f.state in _SPEAKING), None)
    if missed is None or missed.probability is None:
        return
    chances = {cause: missed.probability * weight for cause, weight in _WHY_MISSED.items()}
    slip = chances.pop("belt slip")
    for k, finding in enumerate(out):
        if finding.subject != "belt slip" or finding.state != "not measurable":
            continue
        out[k] = replace(
            finding,
            evidence={
                **finding.evidence,
                "missed_rpm": missed.evidence["missed_rpm"],
                "chance_from_missed_stage": round(slip, 3),
            },
            rivals=tuple(
                Cause(cause=cause, probability=round(chance, 3))
                for cause, chance in chances.items()
            ),
            reason=say(
                "{reason}; but a slipping belt is one cause of the finding '{stage}', with a "
                "chance of {chance:.0f} %",
                reason=finding.reason,
                stage=missed.subject,
                chance=100.0 * slip,
            ),
        )


def _name_what_holds_back(out: list[Finding]) -> None:
    """A stage that was missed or late says which of the other findings would explain it."""
    causes = [f for f in out if f.state in _SPEAKING and f.subject.startswith(_HOLDS_BACK)]
    if not causes:
        return
    explained = [{"subject": str(f.subject), "probability": f.probability} for f in causes]
    for k, finding in enumerate(out):
        slow = "missed_rpm" in finding.evidence or "reached_after_s" in finding.evidence
        if finding.kind != "stage" or not slow or finding.state not in _SPEAKING:
            continue
        out[k] = replace(
            finding,
            evidence={**finding.evidence, "explained_by": explained},
            reason=say(
                "{reason} Found as well, and enough to cause it: {causes}.",
                reason=finding.reason,
                causes=join(", ", (f.subject for f in causes)),
            ),
        )


def _share(out: list[Finding], members: list[int]) -> None:
    """Scale a group so that none of its findings claims more than 1 with all its rivals."""
    before = {k: out[k] for k in members}
    own = {k: _others_causes(before[k], [before[j] for j in members if j != k]) for k in members}
    total = sum(finding.probability or 0.0 for finding in before.values())
    total += max(sum(cause.probability for cause in causes) for causes in own.values())
    scale = min(1.0, 1.0 / total) if total > 0 else 1.0
    for k, mine in before.items():
        added = [
            Cause(cause=other.subject, probability=round((other.probability or 0.0) * scale, 3))
            for j, other in before.items()
            if j != k
        ]
        kept = [replace(c, probability=round(c.probability * scale, 3)) for c in own[k]]
        # A state once spoken is not taken back: the sign is there, only its cause is open.
        out[k] = replace(
            mine,
            probability=(mine.probability or 0.0) * scale,
            state=mine.state if scale == 1.0 else "attention",
            rivals=(*added, *kept),
        )


def _others_causes(mine: Finding, others: list[Finding]) -> list[Cause]:
    """A finding's rivals without those that a finding beside it names by itself."""
    subjects = [str(other.subject) for other in others]
    return [
        cause
        for cause in mine.rivals
        if not any(
            subject.startswith(_SAME_CAUSE.get(str(cause.cause), str(cause.cause)))
            for subject in subjects
        )
    ]
