"""The finding: one checked statement about the unit under test, as a frozen value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

FindingKind = Literal[
    "bearing",
    "imbalance",
    "oscillation",
    "suspension",
    "belt",
    "motor",
    "supply",
    "stage",
    "looseness",
]
State = Literal["clear", "attention", "fault", "not measurable"]


@dataclass(frozen=True, kw_only=True)
class Cause:
    """A rival explanation of the same evidence, with its probability."""

    cause: str
    probability: float


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One statement, with its proof, confidence, rivals and the next check by hand.

    Attributes:
        kind: the group it belongs to.
        subject: what it is about, e.g. "rear drum bearing, outer race".
        state: "clear", "attention", "fault" or "not measurable" (which is not "clear").
        probability: that the statement holds, 0 to 1, or None where no honest number exists.
        evidence: named numbers with units in their names, ready for JSON.
        rivals: what else would explain the evidence.
        next_step: what to check by hand next, or which recording would tell.
        reason: one sentence of proof, or why it cannot be measured.
    """

    kind: FindingKind
    subject: str
    state: State
    probability: float | None = None
    evidence: Mapping[str, Any] = field(default_factory=dict)
    rivals: tuple[Cause, ...] = ()
    next_step: str = ""
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """The one sentence that stands first."""

    state: State
    sentence: str
