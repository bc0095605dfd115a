"""A unit held against a baseline, for a terminal; and a baseline's own summary."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from spinlab.baseline.value import Baseline, Held
from spinlab.report.words import SHORT_CAUTION, one_line

WIDTH = 80
HELD_WORDS = {
    "attention": "Departs from the baseline",
    "fault": "Departs from the baseline",
    "clear": "Within the baseline",
    "not measurable": "Not measurable",
}


def _wrap(text: str, *, first: str = "", rest: str | None = None) -> str:
    return textwrap.fill(
        one_line(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
    )


def held_text(baseline: Baseline, units: Sequence[Held]) -> str:
    """Every unit's outcome, its departures, and what could not be held against the baseline."""
    blocks = []
    for unit in units:
        lines = [_wrap(f"{HELD_WORDS[unit.state].upper()}: {unit.file}. {unit.sentence}")]
        lines += [_wrap(s.sentence, first="* up: ", rest="  ") for s in unit.statements]
        if unit.outside_share is not None:
            lines.append(_wrap(outside_words(unit), first="  "))
        for limit in unit.limits:
            lines.append(
                _wrap(f"Not held against it, {limit.what}: {limit.reason}", first="- ", rest="  ")
            )
            if limit.remedy:
                lines.append(_wrap(limit.remedy, first="  What would tell: ", rest="    "))
        blocks.append("\n".join(lines))
    blocks.append(_wrap(about(baseline), first="Baseline  "))
    if any(unit.state == "attention" for unit in units):
        blocks.append(_wrap(SHORT_CAUTION, first="Caution: "))
    return "\n\n".join(blocks) + "\n"


def outside_words(unit: Held) -> str:
    """How many places lie outside the band, and how many are expected to."""
    share = 100 * (unit.outside_share or 0.0)
    return (
        f"{share:.0f} % of {len(unit.places)} places lie outside the band in which 95 % of good "
        "units are expected."
    )


def about(baseline: Baseline) -> str:
    """What a baseline was made of, and how well it passes its own check."""
    speeds = sorted({one.where.speed_rpm for one in baseline.references})
    named = ", ".join(f"{speed:.0f}" for speed in speeds)
    machine = f" of {baseline.machine}" if baseline.machine else ""
    text = f"{len(baseline.recordings)} good recordings{machine}, at {named} rpm."
    if baseline.left_out:
        worst = max(baseline.left_out, key=lambda left: left.outside_share)
        departing = [left.file for left in baseline.left_out if left.departs]
        text += (
            f" Each held against the others: at most {100 * worst.outside_share:.0f} % of places "
            "outside the band (5 % expected)."
        )
        if departing:
            text += f" Would not pass as good by the others: {', '.join(departing)}."
    else:
        text += " One more recording is needed to check each against the others."
    return text


def baseline_text(baseline: Baseline) -> str:
    """A new baseline's summary."""
    return _wrap(about(baseline)) + "\n"
