"""The wash motion's two directions."""

from __future__ import annotations

from typing import Any

from spinlab.finding import Finding
from spinlab.findings.judge import not_measurable, numbers, shared
from spinlab.phases.value import MotionPattern


def direction_findings(motion: MotionPattern | None) -> list[Finding]:
    """Whether both directions of the wash motion are there."""
    subject = "a direction that never starts"
    if motion is None or motion.on_s is None:
        return []
    evidence: dict[str, Any] = {
        **numbers("on_s", motion.on_s),
        **numbers("off_s", motion.off_s),
        **numbers("odd_bursts_on_s", motion.first_on_s),
        **numbers("even_bursts_on_s", motion.second_on_s),
        "alternation_p": motion.alternation_p,
        "bursts": len(motion.starts_s),
    }
    if motion.directions == "not measurable":
        return [
            not_measurable(
                "motor",
                subject,
                motion.reason,
                "record six or more bursts of the wash motion, or film the drum",
                evidence=evidence,
            )
        ]
    if motion.directions == "both":
        return [
            Finding(
                kind="motor",
                subject=subject,
                state="clear",
                probability=0.05,
                evidence=evidence,
                reason="odd and even bursts of the wash motion differ in sound, as two directions "
                "do",
            )
        ]
    probability, rivals = shared(
        0.6, {"a programme with one direction or long pauses": 0.7, "bursts too quiet to hear": 0.3}
    )
    return [
        Finding(
            kind="motor",
            subject=subject,
            state="attention",
            probability=probability,
            evidence=evidence,
            rivals=rivals,
            next_step="watch the drum through the door for two minutes; then the reversing relays, "
            "their wires and the module",
            reason=motion.reason,
        )
    ]
