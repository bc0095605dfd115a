"""Findings of orders on a course whose scale is only indicated: as sure as that scale is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from spinlab.finding import Cause, Finding
from spinlab.findings.bearing_weigh import WORTH_NAMING
from spinlab.findings.judge import not_measurable, state_of
from spinlab.phrase import join, say, sentence
from spinlab.speed.track import IndicatedCourse

NEXT_CLOSER = "A recording closer to the machine, or an accelerometer log, would measure the speed."


def on_indicated(
    findings: Sequence[Finding], course: IndicatedCourse | None
) -> tuple[Finding, ...]:
    """The same findings where the speed was measured; else weighed by the scale, which is said.

    Args:
        findings: about bearings, of lines at orders of the drum.
        course: the course that they lie on where the track knows no speed; None where it does.
    """
    if course is None:
        return tuple(findings)
    note = _note(course)
    out = []
    for found in findings:
        if found.state in ("attention", "fault") and found.probability is not None:
            probability = found.probability * course.weight
            state = state_of(probability)
            reason = join(" ", [sentence(found.reason), note])
            found = replace(
                found,
                probability=probability,
                # A finding that is never a fault, however sure, is none here either.
                state=found.state if state == "fault" else state,
                reason=reason,
                rivals=(*found.rivals, *_other_speeds(found.probability - probability)),
            )
        out.append(found)
    return _told_by_blows(out) if course.asked_rpm else tuple(out)


def _other_speeds(probability: float) -> tuple[Cause, ...]:
    if probability < WORTH_NAMING:
        return ()
    cause = say("something else, the drum turning at other speeds")
    return (Cause(cause=cause, probability=round(probability, 4)),)


def _told_by_blows(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """What may be said along a course that damage told: damage, and never that there is none."""
    told = tuple(
        replace(found, next_step=join(" ", [found.next_step, NEXT_CLOSER]))
        for found in findings
        if found.state in ("attention", "fault")
    )
    rest = tuple(found for found in findings if found.state == "not measurable")
    if told or any(found.subject == "bearings" for found in rest):
        return (*told, *rest)
    reason = say(
        "The speed was not measured, and the blows that keep to the speeds asked for do not "
        "amount to damage."
    )
    return (not_measurable("bearing", "bearings", reason, NEXT_CLOSER), *rest)


def _note(course: IndicatedCourse) -> str:
    percent = 200.0 * course.scale_sigma
    if not course.asked_rpm:
        return say(
            "The drum's speed is only indicated, so every order is known to {percent:.1f} %.",
            percent=percent,
        )
    return say(
        "The drum's speed was not measured: blows themselves are heard that keep to the speeds "
        "asked for ({speeds} rpm), and what is heard of the drum's own turns along them places "
        "every order to {percent:.1f} %. Whether the plateaus were kept they do not tell.",
        speeds=join(", ", [f"{speed:.0f}" for speed in course.asked_rpm]),
        percent=percent,
    )
