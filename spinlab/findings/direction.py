"""The wash motion's two directions."""

from __future__ import annotations

from typing import Any

from spinlab.finding import Finding
from spinlab.findings.judge import not_measurable, numbers, shared
from spinlab.phases.value import MotionPattern
from spinlab.phrase import say
from spinlab.speed.track import Estimate


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
        **numbers("pause_after_odd_s", motion.first_off_s),
        **numbers("pause_after_even_s", motion.second_off_s),
        **numbers("odd_bursts_pace_hz", motion.first_pace_hz),
        **numbers("even_bursts_pace_hz", motion.second_pace_hz),
        **numbers("odd_bursts_speed_rpm", motion.first_speed_rpm),
        **numbers("even_bursts_speed_rpm", motion.second_speed_rpm),
        **numbers("even_over_odd_speed", motion.second_over_first_speed),
        "alternation_p": motion.alternation_p,
        "bursts": len(motion.starts_s),
    }
    if motion.directions == "not measurable":
        return [
            not_measurable(
                "motor",
                subject,
                motion.reason + _compared(motion),
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
                reason=say(
                    "odd and even bursts of the wash motion differ in sound, as two directions do"
                )
                + _compared(motion),
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
            reason=motion.reason + _compared(motion),
        )
    ]


def _compared(motion: MotionPattern) -> str:
    """Times and speeds of odd and even bursts, as sentences' ends; intervals hold 95 %."""
    first, second = motion.first_on_s, motion.second_on_s
    if first is None or second is None:
        return ""
    told = say(
        "; odd bursts last {first:.1f} +- {first_half:.1f} s, even ones {second:.1f} +- "
        "{second_half:.1f} s",
        **_both(first, second),
    )
    rest, other = motion.first_off_s, motion.second_off_s
    if rest is not None and other is not None:
        told += say(
            ", with pauses of {first:.1f} +- {first_half:.1f} s and {second:.1f} +- "
            "{second_half:.1f} s after them",
            **_both(rest, other),
        )
    odd, even = motion.first_speed_rpm, motion.second_speed_rpm
    if odd is not None and even is not None:
        told += say(
            "; the drum turns at {first:.1f} +- {first_half:.1f} rpm in odd bursts and at "
            "{second:.1f} +- {second_half:.1f} rpm in even ones",
            **_both(odd, even),
        )
    relative = motion.second_over_first_speed
    if relative is None:
        return told + say("; how fast the drum turns in each cannot be compared")
    return told + say(
        "; in even bursts the drum turns {relative:.3f} +- {half:.3f} times as fast as in odd ones",
        relative=relative.value,
        half=1.96 * relative.standard_uncertainty,
    )


def _both(first: Estimate, second: Estimate) -> dict[str, float]:
    """Two values and half the width of their intervals, for a sentence."""
    return dict(
        first=first.value,
        first_half=1.96 * first.standard_uncertainty,
        second=second.value,
        second_half=1.96 * second.standard_uncertainty,
    )
