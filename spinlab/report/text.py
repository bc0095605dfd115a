"""The report for a terminal: 80 columns, no colour needed, the verdict first."""

from __future__ import annotations

from collections.abc import Iterator

from spinlab.finding import Finding
from spinlab.fitness import better_take
from spinlab.phrase import say
from spinlab.report.language import ENGLISH, speaking, tell, tell_many
from spinlab.report.phases import phase_lines
from spinlab.report.stage_words import (
    CLIMB_NOTE,
    INDICATED_NOTE,
    arrival,
    between_stages,
    is_indicated,
    stage_speed,
)
from spinlab.report.typeset import WIDTH, wrapped
from spinlab.report.words import (
    INTERVAL_NOTE,
    NO_NUMBER,
    OUTCOME_WORDS,
    SHORT_CAUTION,
    STATE_WORDS,
    chance,
    clock,
    duration,
    in_full,
    number,
    one_line,
    sorted_findings,
    trouble,
    unmeasured,
)
from spinlab.result import Analysed
from spinlab.stages import Stage

_HEAD = (
    # Heads of narrow columns are messages of their own: a language may need shorter words there.
    (
        say("asked"),
        say("outcome"),
        say("drum speed"),
        say("off by"),
        say("from – to"),
        say("reached"),
        say("held"),
        say("ripple"),
    ),
    (say("rpm"), "", say("rpm"), "%", say("in the file"), say("after s"), "s", say("% RMS")),
)
_WIDTHS = (5, 14, 15, 6, 13, 8, 6, 6)
_LEFT = {1, 4}


def text_report(analysis: Analysed, *, language: str = ENGLISH) -> str:
    """The whole report as lines of at most 80 characters.

    Args:
        analysis: a finished analysis.
        language: code of a language that ships (`spinlab.report.language.languages`).

    Returns:
        Text that ends with a line break.
    """
    with speaking(language):
        parts = [
            list(part)
            for part in (
                _verdict(analysis),
                _subject(analysis),
                _stage_table(analysis),
                _phases(analysis),
                _findings(analysis),
                _caution(analysis),
                _gaps(analysis),
                _quality(analysis),
                _advice(analysis),
            )
        ]
    return "\n\n".join("\n".join(lines) for lines in parts if lines) + "\n"


def _wrap(text: str, *, first: str = "", rest: str | None = None) -> list[str]:
    return wrapped(one_line(text), first=first, rest=rest)


def _verdict(analysis: Analysed) -> Iterator[str]:
    state = tell(STATE_WORDS[analysis.verdict.state]).upper()
    yield from _wrap(f"{state}: {tell(analysis.verdict.sentence)}")


def _subject(analysis: Analysed) -> Iterator[str]:
    recording, machine = analysis.recording, analysis.machine
    about = tell_many(
        "{kind}, {length}, {rate:g} Hz, {count} channel",
        "{kind}, {length}, {rate:g} Hz, {count} channels",
        count=recording.channels,
        kind=recording.kind,
        length=duration(recording.duration_s),
        rate=recording.rate_hz,
    )
    heads = [tell("Recording"), tell("Machine"), tell("Note")]
    width = max(len(head) for head in heads) + 2
    first = [head.ljust(width) for head in heads]
    yield from _wrap(f"{recording.source.file} ({about})", first=first[0])
    if machine is not None:
        described = f" ({machine.description})" if machine.description else ""
        yield from _wrap(f"{machine.name}{described}", first=first[1])
    if analysis.track.programme_used:
        hint = tell(
            "the programme's speeds helped to choose between readings; they never shift a "
            "measured value."
        )
        yield from _wrap(hint, first=first[2])


def _stage_table(analysis: Analysed) -> Iterator[str]:
    stages = analysis.stages.stages
    if stages:
        yield tell("STAGES")
        yield from (_row(tuple(tell(cell) for cell in cells)) for cells in _HEAD)
        yield "-" * WIDTH
        for stage in stages:
            yield _row(_cells(stage))
            if stage.reason and stage.outcome not in ("reached", "not measurable"):
                yield from _wrap(in_full(stage.reason), first="      ")
        clock_note = tell("Times are the file's own clock.")
        notes = [clock_note]
        if is_indicated(stages):
            notes.insert(0, tell(INDICATED_NOTE))
        if is_indicated(stages) or any(stage.speed_rpm is not None for stage in stages):
            notes.insert(0, tell(INTERVAL_NOTE))
        if any(arrival(stage).startswith("+") for stage in stages):
            notes.append(tell(CLIMB_NOTE))
        if any(map(_is_limited, stages)):
            notes.append(tell("Behind the stroke stands what the programme allows."))
        yield from _wrap(" ".join(notes), first="      ")
    for sentence in between_stages(analysis.stages):
        yield from _wrap(sentence)


def _phases(analysis: Analysed) -> Iterator[str]:
    lines = phase_lines(getattr(analysis, "phases", None))
    if lines:
        yield tell("PHASES")
        yield from lines


def _cells(stage: Stage) -> tuple[str, ...]:
    reached = arrival(stage)
    return (
        number(stage.expected_rpm, 0),
        tell(OUTCOME_WORDS[stage.outcome]),
        stage_speed(stage),
        number(stage.deviation_percent, 2, sign=True),
        NO_NUMBER if stage.start_s is None else f"{clock(stage.start_s)} – {clock(stage.end_s)}",
        f"{reached}/{stage.allowed_s:.0f}" if _is_limited(stage) else reached,
        number(stage.dwell_s, 0),
        number(stage.ripple_percent, 2),
    )


def _is_limited(stage: Stage) -> bool:
    """Whether the time from the start can be held against what the programme allows."""
    return stage.allowed_s is not None and stage.reached_after_s is not None


def _row(cells: tuple[str, ...]) -> str:
    padded = (
        cell.ljust(width) if column in _LEFT else cell.rjust(width)
        for column, (cell, width) in enumerate(zip(cells, _WIDTHS, strict=True))
    )
    return " ".join(padded).rstrip()


def _findings(analysis: Analysed) -> Iterator[str]:
    shown = [f for f in sorted_findings(analysis.findings) if f.state != "not measurable"]
    if not shown:
        return
    yield tell("FINDINGS")
    for finding in shown:
        yield from _finding(finding)


def _caution(analysis: Analysed) -> Iterator[str]:
    """Before hands are told what to do next."""
    asked = ("fault", "attention")
    if any(finding.next_step and finding.state in asked for finding in analysis.findings):
        yield from _wrap(tell(SHORT_CAUTION), first=f"{tell('Caution')}: ")


def _finding(finding: Finding) -> Iterator[str]:
    yield from _wrap(
        f"{tell(STATE_WORDS[finding.state])}: {tell(finding.subject)}{trouble(finding)}",
        first="* ",
        rest="  ",
    )
    if finding.reason:
        yield from _wrap(in_full(finding.reason), first="  ")
    if finding.rivals:
        rivals = "; ".join(
            f"{tell(rival.cause)} ({chance(rival.probability)})" for rival in finding.rivals
        )
        yield from _wrap(rivals, first=f"  {tell('Could also be')}: ", rest="    ")
    if finding.next_step:
        yield from _wrap(in_full(finding.next_step), first=f"  {tell('Next')}: ", rest="    ")


def _gaps(analysis: Analysed) -> Iterator[str]:
    gaps = unmeasured(analysis)
    if not gaps:
        return
    yield tell("COULD NOT BE MEASURED")
    for gap in gaps:
        yield from _wrap(f"{gap.what}: {gap.reason}", first="* ", rest="  ")
        if gap.remedy:
            yield from _wrap(gap.remedy, first=f"  {tell('What would tell')}: ", rest="    ")


def _quality(analysis: Analysed) -> Iterator[str]:
    remarks = tuple(getattr(analysis.quality, "remarks", ()))
    if not remarks:
        return
    yield tell("ABOUT THE RECORDING")
    for remark in remarks:
        yield from _wrap(f"{tell(remark.what)} {tell(remark.consequence)}", first="* ", rest="  ")


def _advice(analysis: Analysed) -> Iterator[str]:
    advice = better_take(analysis.quality, analysis.track, analysis.machine)
    if not advice:
        return
    yield tell("FOR A BETTER TAKE")
    for one in advice:
        yield from _wrap(f"{tell(one.do)}: {tell(one.because)}.", first="* ", rest="  ")
