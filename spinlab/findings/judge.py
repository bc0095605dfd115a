"""How measurements become states and probabilities, the same way for every kind of finding.

A finding's probability is the chance that the trouble it names is there: the chance that the true
value lies beyond the limit, given the measured value and its uncertainty, times the share that its
rivals leave.  "clear" therefore carries a small probability.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from spinlab.finding import Cause, Finding, FindingKind, State
from spinlab.speed.track import Estimate

FAULT_FROM = 0.80
ATTENTION_FROM = 0.35


def state_of(probability: float) -> State:
    """State that a probability of trouble stands for."""
    if probability >= FAULT_FROM:
        return "fault"
    return "attention" if probability >= ATTENTION_FROM else "clear"


def chance_above(value: float, standard_uncertainty: float, limit: float) -> float:
    """Probability that the true value exceeds a limit (normal law)."""
    if standard_uncertainty <= 0.0:
        return 1.0 if value > limit else 0.0
    return 0.5 * math.erfc((limit - value) / (standard_uncertainty * math.sqrt(2.0)))


def chance_above_log(estimate: Estimate, limit: float, *, factor: float) -> float:
    """The same on a logarithmic scale, with another uncertainty given as a factor (1 sigma).

    For quantities known only up to a transfer that multiplies, such as that from a tub to a case.
    """
    if estimate.value <= 0.0:
        return 0.0
    own = estimate.standard_uncertainty / estimate.value
    return chance_above(
        math.log(estimate.value), math.hypot(own, math.log(factor)), math.log(limit)
    )


def shared(probability: float, rivals: Mapping[str, float]) -> tuple[float, tuple[Cause, ...]]:
    """Split the probability of a sign among what it names and its rivals by their weights.

    Args:
        probability: that the sign is real and beyond its limit.
        rivals: cause -> weight, relative to a weight of 1 for what the finding names.

    Returns:
        The finding's own probability, and its rivals' (those above 2 %).
    """
    total = 1.0 + sum(rivals.values())
    causes = tuple(
        Cause(cause=name, probability=round(probability * weight / total, 3))
        for name, weight in sorted(rivals.items(), key=lambda item: -item[1])
        if probability * weight / total > 0.02
    )
    return probability / total, causes


def not_measurable(
    kind: FindingKind,
    subject: str,
    reason: str,
    next_step: str,
    *,
    evidence: Mapping[str, Any] | None = None,
) -> Finding:
    """A statement that could not be made, why, and which recording would make it."""
    return Finding(
        kind=kind,
        subject=subject,
        state="not measurable",
        probability=None,
        evidence=evidence or {},
        reason=reason,
        next_step=next_step,
    )


def numbers(name: str, estimate: Estimate | None) -> dict[str, float | None]:
    """An estimate as two evidence entries, value and standard uncertainty."""
    if estimate is None:
        return {name: None, f"{name}_standard_uncertainty": None}
    return {
        name: estimate.value,
        f"{name}_standard_uncertainty": estimate.standard_uncertainty,
    }
