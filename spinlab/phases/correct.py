"""A user's correction of a boundary: ``spin=75-140`` or ``spin=1:15-2:20``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from spinlab.errors import InputError
from spinlab.phases.settle import drained
from spinlab.phases.value import LABELS, Label, Phase, PhaseList
from spinlab.phrase import say

_CLOCK = re.compile(r"(?:(?:(\d+):)?(\d+):)?(\d+(?:\.\d+)?)")


@dataclass(frozen=True, kw_only=True)
class Correction:
    """A label and where it holds, on the file's own clock."""

    label: Label
    start_s: float
    end_s: float


def parse_correction(text: str) -> Correction:
    """Read ``label=start-end`` with times in seconds or mm:ss.

    Raises:
        InputError: the form, the label or the order of the times is wrong.
    """
    label, _, span = text.partition("=")
    label = label.strip().lower()
    parts = span.split("-")
    if label not in LABELS or len(parts) != 2:
        raise InputError(
            say(
                "'{text}' is no phase: write label=start-end, for instance "
                "spin=1:15-2:20, with one of the labels {labels}",
                text=text,
                labels=", ".join(LABELS),
            )
        )
    start, end = (_seconds(part, text) for part in parts)
    if end <= start:
        raise InputError(say("the phase '{text}' ends before it starts: give start-end", text=text))
    return Correction(label=label, start_s=start, end_s=end)  # type: ignore[arg-type]


def corrected(found: PhaseList, corrections: Sequence[Correction]) -> PhaseList:
    """The phases with the user's own put over them, as far as the recording reaches.

    The wash motion's pattern stays as it was heard.
    """
    if not corrections:
        return found
    phases = list(found.phases)
    for given in corrections:
        c = given
        if phases:
            begin, end = phases[0].start_s, phases[-1].end_s
            c = replace(c, start_s=max(c.start_s, begin), end_s=min(c.end_s, end))
        if c.end_s <= c.start_s:
            continue
        kept: list[Phase] = []
        for phase in phases:
            if phase.start_s < c.start_s:
                kept.append(replace(phase, end_s=min(phase.end_s, c.start_s)))
            if phase.end_s > c.end_s:
                kept.append(replace(phase, start_s=max(phase.start_s, c.end_s)))
        kept.append(
            Phase(
                label=c.label,
                start_s=c.start_s,
                end_s=c.end_s,
                confidence=1.0,
                boundary_uncertainty_s=0.0,
                evidence="set by the user",
                corrected=True,
            )
        )
        phases = sorted(kept, key=lambda phase: phase.start_s)
    return replace(found, phases=tuple(phases), drained_before_spin=drained(phases))


def _seconds(text: str, whole: str) -> float:
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        raise InputError(
            say(
                "'{value}' in '{whole}' is no time: write seconds or mm:ss",
                value=text.strip(),
                whole=whole,
            )
        )
    hours, minutes, seconds = match.groups()
    return 3600.0 * float(hours or 0) + 60.0 * float(minutes or 0) + float(seconds)
