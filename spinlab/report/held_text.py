"""A unit held against a baseline, for a terminal; and a baseline's own summary."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from spinlab.baseline.value import Baseline, Held
from spinlab.phrase import say
from spinlab.report.language import ENGLISH, speaking, tell
from spinlab.report.typeset import wrapped
from spinlab.report.words import SHORT_CAUTION, one_line

HELD_WORDS = {
    "attention": say("Departs from the baseline"),
    "fault": say("Departs from the baseline"),
    "clear": say("Within the baseline"),
    "not measurable": say("Not measurable"),
}


def _wrap(text: str, *, first: str = "", rest: str | None = None) -> str:
    return "\n".join(wrapped(one_line(text), first=first, rest=rest))


def held_text(baseline: Baseline, units: Sequence[Held], *, language: str = ENGLISH) -> str:
    """Every unit's outcome, its departures, and what could not be held against the baseline."""
    with speaking(language):
        blocks = ["\n".join(_unit(unit)) for unit in units]
        blocks.append(_wrap(about(baseline), first=f"{tell('Baseline')}  "))
        if any(unit.state == "attention" for unit in units):
            blocks.append(_wrap(tell(SHORT_CAUTION), first=f"{tell('Caution')}: "))
    return "\n\n".join(blocks) + "\n"


def _unit(unit: Held) -> Iterator[str]:
    yield _wrap(f"{tell(HELD_WORDS[unit.state]).upper()}: {unit.file}. {tell(unit.sentence)}")
    for statement in unit.statements:
        yield _wrap(tell(statement.sentence), first=f"* {tell('up')}: ", rest="  ")
    if unit.outside_share is not None:
        yield _wrap(outside_words(unit), first="  ")
    for limit in unit.limits:
        what, reason = tell(limit.what), tell(limit.reason)
        yield _wrap(
            tell("Not held against it, {what}: {reason}", what=what, reason=reason),
            first="- ",
            rest="  ",
        )
        if limit.remedy:
            yield _wrap(tell(limit.remedy), first=f"  {tell('What would tell')}: ", rest="    ")


def outside_words(unit: Held) -> str:
    """How many places lie outside the band, and how many are expected to."""
    return tell(
        "{share:.0f} % of {places} places lie outside the band in which 95 % of good units are "
        "expected.",
        share=100 * (unit.outside_share or 0.0),
        places=len(unit.places),
    )


def about(baseline: Baseline) -> str:
    """What a baseline was made of, and how well it passes its own check."""
    speeds = sorted({one.where.speed_rpm for one in baseline.references})
    sentences = [
        tell(
            "{count} good recordings{machine}, at {speeds} rpm.",
            count=len(baseline.recordings),
            machine=say(" of {name}", name=baseline.machine) if baseline.machine else "",
            speeds=", ".join(f"{speed:.0f}" for speed in speeds),
        )
    ]
    if not baseline.left_out:
        sentences.append(tell("One more recording is needed to check each against the others."))
        return " ".join(sentences)
    worst = max(baseline.left_out, key=lambda left: left.outside_share)
    sentences.append(
        tell(
            "Each held against the others: at most {share:.0f} % of places outside the band (5 % "
            "expected).",
            share=100 * worst.outside_share,
        )
    )
    departing = ", ".join(left.file for left in baseline.left_out if left.departs)
    if departing:
        sentences.append(tell("Would not pass as good by the others: {files}.", files=departing))
    return " ".join(sentences)


def baseline_text(baseline: Baseline, *, language: str = ENGLISH) -> str:
    """A new baseline's summary."""
    with speaking(language):
        return _wrap(about(baseline)) + "\n"
