"""Findings that explain the same evidence are made each other's rivals, with weights.

Each kind is judged by itself and may claim the same shaking.  Where several of a group speak at
once, their probabilities are scaled to sum to at most 1, unless they can be true together, and
each names the others.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from spinlab.finding import Cause, Finding

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
    # an electrical order that is too strong
    ("lost phase", "position sensor"),
    # more power or drag than usual
    ("drag power", "drag while coasting"),
)
_SPEAKING = ("attention", "fault")


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
    return tuple(out)


def _share(out: list[Finding], members: list[int]) -> None:
    total = sum(out[k].probability or 0.0 for k in members)
    scale = min(1.0, 1.0 / total) if total > 0 else 1.0
    before = {k: out[k] for k in members}
    for k in members:
        mine = before[k]
        others = [before[j] for j in members if j != k]
        named = {cause.cause for cause in mine.rivals}
        added = tuple(
            Cause(cause=other.subject, probability=round((other.probability or 0.0) * scale, 3))
            for other in others
            if other.subject not in named
        )
        # A state once spoken is not taken back: the sign is there, only its cause is open.
        probability = (mine.probability or 0.0) * scale
        state = mine.state if scale == 1.0 else "attention"
        out[k] = replace(mine, probability=probability, state=state, rivals=(*added, *mine.rivals))
