"""Findings of orders on a course whose scale is only indicated: as sure as that scale is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from spinlab.finding import Finding
from spinlab.findings.judge import state_of
from spinlab.phrase import join, say, sentence
from spinlab.speed.track import SpeedTrack


def on_indicated(findings: Sequence[Finding], track: SpeedTrack) -> tuple[Finding, ...]:
    """The same findings where the speed was measured; else weighed by the scale, which is said.

    Args:
        findings: of lines at orders of the drum.
        track: the drum's speed.
    """
    course = track.indicated
    if course is None:
        return tuple(findings)
    note = say(
        "The drum's speed is only indicated, so every order is known to {percent:.1f} %.",
        percent=200.0 * course.scale_sigma,
    )
    out = []
    for found in findings:
        if found.state in ("attention", "fault") and found.probability is not None:
            probability = found.probability * course.weight
            reason = join(" ", [sentence(found.reason), note])
            state = state_of(probability)
            found = replace(found, probability=probability, state=state, reason=reason)
        out.append(found)
    return tuple(out)
