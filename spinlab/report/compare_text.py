"""A comparison for a terminal: 80 columns, no colour needed, the outcome first."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from spinlab.comparison.value import Comparison, LineChange, Pair
from spinlab.comparison.words import amount, band_words
from spinlab.report.words import (
    INTERVAL_NOTE,
    SHORT_CAUTION,
    STATE_WORDS,
    measured,
    number,
    one_line,
)
from spinlab.stages import Stage

WIDTH = 80
# Letters stand for recordings in tables.
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_COLUMNS_AT_ONCE = 3
_MARKS = {1: "up", -1: "down", 0: "same"}
CHANGE_NOTE = (
    "Changes run from A to the other recording. Lines are told as level over the recording's own "
    "noise floor, which no gain touches; an envelope's line in dB of modulation depth (20 lg), "
    "where 6 dB are half the depth."
)
SAME_PLACE_NOTE = (
    "Taken as recorded with the phone in the same place, within a hand's breadth; if it was not, "
    "compare again with --moved, which widens every interval."
)
MOVED_NOTE = "Every interval is widened by what another place of the phone may do."
CHANGE_WORDS = {
    "attention": "Changed",
    "fault": "Changed",
    "clear": "No change",
    "not measurable": "Not measurable",
}


def letter(number: int) -> str:
    """A, B, C and so on; past Z the number itself.

    >>> letter(0), letter(30)
    ('A', '31')
    """
    return LETTERS[number] if number < len(LETTERS) else str(number + 1)


def comparison_text(comparison: Comparison) -> str:
    """The whole comparison as lines of at most 80 characters, ending with a line break."""
    parts = [
        _head(comparison),
        _recordings(comparison),
        _stages(comparison),
        *(_pair(comparison, pair) for pair in comparison.pairs),
        _caution(comparison),
    ]
    return "\n\n".join("\n".join(lines) for part in parts if (lines := list(part))) + "\n"


def _wrap(text: str, *, first: str = "", rest: str | None = None) -> list[str]:
    return textwrap.wrap(
        one_line(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
    )


def _head(comparison: Comparison) -> Iterator[str]:
    yield from _wrap(f"{CHANGE_WORDS[comparison.state].upper()}: {comparison.sentence}")
    yield from _wrap(place_note(comparison))


def place_note(comparison: Comparison) -> str:
    """What was taken for granted about the phone's place."""
    return SAME_PLACE_NOTE if comparison.same_place else MOVED_NOTE


def _recordings(comparison: Comparison) -> Iterator[str]:
    yield "RECORDINGS"
    for place, subject in enumerate(comparison.subjects):
        yield from _wrap(
            f"{subject.file} ({subject.kind}, {subject.duration_s:.0f} s). "
            f"{STATE_WORDS[subject.state]}: {subject.sentence}",
            first=f"{letter(place)}  ",
        )


def _stages(comparison: Comparison) -> Iterator[str]:
    if not comparison.stages:
        return
    yield "STAGES SIDE BY SIDE"
    count = len(comparison.subjects)
    for first in range(0, count, _COLUMNS_AT_ONCE):
        shown = range(first, min(count, first + _COLUMNS_AT_ONCE))
        yield "asked rpm  " + "  ".join(letter(place).ljust(20) for place in shown).rstrip()
        for row in comparison.stages:
            asked = number(row.expected_rpm, 0).rjust(9)
            cells = "  ".join(stage_cell(row.stages[place]).ljust(20) for place in shown)
            yield f"{asked}  {cells}".rstrip()
    yield from _wrap(INTERVAL_NOTE)


def stage_cell(stage: Stage | None) -> str:
    """Outcome and speed of one stage in a few letters."""
    if stage is None:
        return "–"
    if stage.speed_rpm is None:
        return stage.outcome
    speed = measured(stage.speed_rpm, stage.standard_uncertainty_rpm)
    return speed if stage.outcome == "reached" else f"{speed} {stage.outcome}"


def _pair(comparison: Comparison, pair: Pair) -> Iterator[str]:
    a, b = letter(pair.first), letter(pair.second)
    yield f"{a} AGAINST {b}: {CHANGE_WORDS[pair.state].upper()}"
    if len(comparison.pairs) > 1:
        yield from _wrap(pair.sentence)
    for statement in pair.statements:
        yield from _wrap(statement.sentence, first=f"* {_MARKS[statement.direction]}: ", rest="  ")
    yield from _chosen(pair)
    for limit in pair.limits:
        yield from _wrap(f"Not compared, {limit.what}: {limit.reason}", first="- ", rest="  ")
        if limit.remedy:
            yield from _wrap(limit.remedy, first="  What would tell: ", rest="    ")


def _chosen(pair: Pair) -> Iterator[str]:
    shown = chosen_lines(pair)
    if not shown:
        return
    yield ""
    for line in shown:
        yield from _wrap(
            f"{line.label}, order {number(line.order, 2)}, {where(line)}: "
            f"{amount(line.change_db, line.low_db, line.high_db)}",
            first="  ",
            rest="    ",
        )
    yield from _wrap(
        f"{CHANGE_NOTE} Of {len(pair.lines)} places, {pair.tests} hold a line and were tested.",
        first="  ",
        rest="  ",
    )
    yield ""


def chosen_lines(pair: Pair) -> tuple[LineChange, ...]:
    """Lines chosen beforehand, each in the spectrum in which it stands out most."""
    best: dict[str, LineChange] = {}
    for line in pair.lines:
        if not line.named or (line.measure == "signal" and line.family != "drum"):
            continue
        held = best.get(line.label)
        if held is None or line.probability < held.probability:
            best[line.label] = line
    return tuple(best.values())


def where(line: LineChange) -> str:
    """In which spectrum a line stands."""
    return "sound" if line.band is None else f"envelope {band_words(line.band)}"


def _caution(comparison: Comparison) -> Iterator[str]:
    if comparison.state == "attention":
        yield from _wrap(SHORT_CAUTION, first="Caution: ")
