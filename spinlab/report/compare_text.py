"""A comparison for a terminal: 80 columns, no colour needed, the outcome first."""

from __future__ import annotations

from collections.abc import Iterator

from spinlab.comparison.value import Comparison, LineChange, Pair
from spinlab.comparison.words import amount, band_words
from spinlab.phrase import say
from spinlab.report.language import ENGLISH, speaking, tell
from spinlab.report.typeset import wrapped
from spinlab.report.words import (
    INTERVAL_NOTE,
    NO_NUMBER,
    OUTCOME_WORDS,
    SHORT_CAUTION,
    STATE_WORDS,
    duration,
    measured,
    number,
    one_line,
)
from spinlab.stages import Stage

# Letters stand for recordings in tables.
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_COLUMNS_AT_ONCE, _CELL = 3, 20
WAYS = {1: say("up"), -1: say("down"), 0: say("same")}
CHANGE_NOTE = say(
    "Changes run from A to the other recording. Lines are told as level over the recording's own "
    "noise floor, which no gain touches; an envelope's line in dB of modulation depth (20 lg), "
    "where 6 dB are half the depth."
)
SAME_PLACE_NOTE = say(
    "Taken as recorded with the phone in the same place, within a hand's breadth; if it was not, "
    "compare again with --moved, which widens every interval."
)
MOVED_NOTE = say("Every interval is widened by what another place of the phone may do.")
# A line that nothing known stands at.
NOT_ASSIGNED = say("not assigned")
CHANGE_WORDS = {
    "attention": say("Changed"),
    "fault": say("Changed"),
    "clear": say("No change"),
    "not measurable": say("Not measurable"),
}


def letter(number: int) -> str:
    """A, B, C and so on; past Z the number itself.

    >>> letter(0), letter(30)
    ('A', '31')
    """
    return LETTERS[number] if number < len(LETTERS) else str(number + 1)


def comparison_text(comparison: Comparison, *, language: str = ENGLISH) -> str:
    """The whole comparison as lines of at most 80 characters, ending with a line break.

    Args:
        comparison: what `spinlab.compare` found.
        language: code of a language that ships.
    """
    with speaking(language):
        parts = [
            _head(comparison),
            _recordings(comparison),
            _stages(comparison),
            *(_pair(comparison, pair) for pair in comparison.pairs),
            _caution(comparison),
        ]
        blocks = ["\n".join(lines) for part in parts if (lines := list(part))]
    return "\n\n".join(blocks) + "\n"


def _wrap(text: str, *, first: str = "", rest: str | None = None) -> list[str]:
    return wrapped(one_line(text), first=first, rest=rest)


def _head(comparison: Comparison) -> Iterator[str]:
    state = tell(CHANGE_WORDS[comparison.state]).upper()
    yield from _wrap(f"{state}: {tell(comparison.sentence)}")
    yield from _wrap(place_note(comparison))


def place_note(comparison: Comparison) -> str:
    """What was taken for granted about the phone's place."""
    return tell(SAME_PLACE_NOTE if comparison.same_place else MOVED_NOTE)


def _recordings(comparison: Comparison) -> Iterator[str]:
    yield tell("RECORDINGS")
    for place, subject in enumerate(comparison.subjects):
        kind, length = tell(subject.kind), duration(subject.duration_s)
        yield from _wrap(
            f"{subject.file} ({kind}, {length}). "
            f"{tell(STATE_WORDS[subject.state])}: {tell(subject.sentence)}",
            first=f"{letter(place)}  ",
        )


def _stages(comparison: Comparison) -> Iterator[str]:
    if not comparison.stages:
        return
    yield tell("STAGES SIDE BY SIDE")
    asked = tell("asked rpm")
    width, count = max(len(asked), 9), len(comparison.subjects)
    for first in range(0, count, _COLUMNS_AT_ONCE):
        shown = range(first, min(count, first + _COLUMNS_AT_ONCE))
        heads = "  ".join(letter(place).ljust(_CELL) for place in shown)
        yield f"{asked.ljust(width)}  {heads}".rstrip()
        for row in comparison.stages:
            speed = number(row.expected_rpm, 0).rjust(width)
            cells = "  ".join(stage_cell(row.stages[place]).ljust(_CELL) for place in shown)
            yield f"{speed}  {cells}".rstrip()
    yield from _wrap(tell(INTERVAL_NOTE))


def stage_cell(stage: Stage | None) -> str:
    """Outcome and speed of one stage in a few letters."""
    if stage is None:
        return NO_NUMBER
    outcome = tell(OUTCOME_WORDS[stage.outcome])
    if stage.speed_rpm is None:
        return outcome
    speed = measured(stage.speed_rpm, stage.standard_uncertainty_rpm)
    # A speed that nobody asked for is told by its row already.
    return speed if stage.outcome in ("reached", "extra") else f"{speed} {outcome}"


def pair_title(pair: Pair) -> str:
    """Which recording is held against which, and what came out."""
    return tell(
        "{other} against {first}: {state}",
        other=letter(pair.second),
        first=letter(pair.first),
        state=tell(CHANGE_WORDS[pair.state]).lower(),
    )


def _pair(comparison: Comparison, pair: Pair) -> Iterator[str]:
    yield pair_title(pair).upper()
    if len(comparison.pairs) > 1:
        yield from _wrap(tell(pair.sentence))
    for statement in pair.statements:
        way = tell(WAYS[statement.direction])
        yield from _wrap(tell(statement.sentence), first=f"* {way}: ", rest="  ")
    yield from _chosen(pair)
    for limit in pair.limits:
        what, reason = tell(limit.what), tell(limit.reason)
        yield from _wrap(
            tell("Not compared, {what}: {reason}", what=what, reason=reason), first="- ", rest="  "
        )
        if limit.remedy:
            label = tell("What would tell")
            yield from _wrap(tell(limit.remedy), first=f"  {label}: ", rest="    ")


def _chosen(pair: Pair) -> Iterator[str]:
    shown = chosen_lines(pair)
    if not shown:
        return
    yield ""
    for line in shown:
        order = tell("order {order}", order=number(line.order, 2))
        change = tell(amount(line.change_db, line.low_db, line.high_db))
        yield from _wrap(
            f"{tell(line.label)}, {order}, {where(line)}: {change}", first="  ", rest="    "
        )
    tested = tell(
        "Of {places} places, {tests} hold a line and were tested.",
        places=len(pair.lines),
        tests=pair.tests,
    )
    yield from _wrap(f"{tell(CHANGE_NOTE)} {tested}", first="  ", rest="  ")
    yield ""


def chosen_lines(pair: Pair) -> tuple[LineChange, ...]:
    """Lines chosen beforehand, each in the spectrum in which it stands out most."""
    best: dict[str, LineChange] = {}
    for line in pair.lines:
        if not line.named or (line.measure != "envelope" and line.family != "drum"):
            continue
        held = best.get(line.label)
        if held is None or line.probability < held.probability:
            best[line.label] = line
    return tuple(best.values())


def where(line: LineChange) -> str:
    """In which spectrum a line stands."""
    if line.band is None:
        return tell("shaking") if line.measure == "shaking" else tell("sound")
    return tell("envelope {band}", band=band_words(line.band))


def _caution(comparison: Comparison) -> Iterator[str]:
    if comparison.state == "attention":
        yield from _wrap(tell(SHORT_CAUTION), first=f"{tell('Caution')}: ")
