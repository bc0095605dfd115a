"""The report for a terminal: 80 columns, no colour needed, the verdict first."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from spinlab.finding import Finding
from spinlab.report.phases import phase_lines
from spinlab.report.words import (
    INTERVAL_NOTE,
    SHORT_CAUTION,
    STATE_WORDS,
    between_stages,
    chance,
    clock,
    duration,
    measured,
    number,
    one_line,
    sorted_findings,
    unmeasured,
)
from spinlab.result import Analysed
from spinlab.stages import Stage

WIDTH = 80
_HEAD = (
    ("asked", "outcome", "drum speed", "off by", "from – to", "reached", "held", "ripple"),
    ("rpm", "", "rpm", "%", "in the file", "after s", "s", "% RMS"),
)
_WIDTHS = (5, 14, 16, 6, 13, 7, 5, 6)
_LEFT = {1, 4}


def text_report(analysis: Analysed) -> str:
    """The whole report as lines of at most 80 characters.

    Args:
        analysis: a finished analysis.

    Returns:
        Text that ends with a line break.
    """
    parts = [
        _verdict(analysis),
        _subject(analysis),
        _stage_table(analysis),
        _phases(analysis),
        _findings(analysis),
        _gaps(analysis),
        _quality(analysis),
    ]
    return "\n\n".join("\n".join(lines) for part in parts if (lines := list(part))) + "\n"


def _wrap(text: str, *, first: str = "", rest: str | None = None) -> list[str]:
    return textwrap.wrap(
        one_line(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
    )


def _verdict(analysis: Analysed) -> Iterator[str]:
    state = STATE_WORDS[analysis.verdict.state].upper()
    yield from _wrap(f"{state}: {analysis.verdict.sentence}")


def _subject(analysis: Analysed) -> Iterator[str]:
    recording, machine = analysis.recording, analysis.machine
    channels = f"{recording.channels} channel{'s' if recording.channels > 1 else ''}"
    facts = f"{recording.kind}, {duration(recording.duration_s)}, {recording.rate_hz:g} Hz"
    yield from _wrap(f"{recording.source.file} ({facts}, {channels})", first="Recording  ")
    if machine is not None:
        about = f" ({machine.description})" if machine.description else ""
        yield from _wrap(f"{machine.name}{about}", first="Machine    ")
    if analysis.track.programme_used:
        yield from _wrap(
            "the programme's speeds helped to choose between readings; they never shift a "
            "measured value.",
            first="Note       ",
        )


def _stage_table(analysis: Analysed) -> Iterator[str]:
    stages = analysis.stages.stages
    if stages:
        yield "STAGES"
        yield from (_row(cells) for cells in _HEAD)
        yield "-" * WIDTH
        for stage in stages:
            yield _row(_cells(stage))
            if stage.reason and stage.outcome not in ("reached", "not measurable"):
                yield from _wrap(stage.reason, first="      ")
        yield from _wrap(INTERVAL_NOTE + " Times are the file's own clock.", first="      ")
    for sentence in between_stages(analysis.stages):
        yield from _wrap(sentence)


def _phases(analysis: Analysed) -> Iterator[str]:
    lines = phase_lines(getattr(analysis, "phases", None))
    if lines:
        yield "PHASES"
        yield from lines


def _cells(stage: Stage) -> tuple[str, ...]:
    reached = number(stage.reached_after_s, 0)
    return (
        number(stage.expected_rpm, 0),
        stage.outcome,
        measured(stage.speed_rpm, stage.standard_uncertainty_rpm),
        number(stage.deviation_percent, 2, sign=True),
        f"{clock(stage.start_s)} – {clock(stage.end_s)}",
        reached if stage.allowed_s is None else f"{reached}/{stage.allowed_s:.0f}",
        number(stage.dwell_s, 0),
        number(stage.ripple_percent, 2),
    )


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
    yield "FINDINGS"
    for finding in shown:
        yield from _finding(finding)
    if any(finding.next_step and finding.state != "clear" for finding in shown):
        yield from _wrap(SHORT_CAUTION, first="  Caution: ")


def _finding(finding: Finding) -> Iterator[str]:
    sure = "" if finding.probability is None else f" (probability {chance(finding.probability)})"
    yield from _wrap(
        f"{STATE_WORDS[finding.state]}: {finding.subject}{sure}", first="* ", rest="  "
    )
    if finding.reason:
        yield from _wrap(finding.reason, first="  ")
    if finding.rivals:
        rivals = "; ".join(
            f"{rival.cause} ({chance(rival.probability)})" for rival in finding.rivals
        )
        yield from _wrap(rivals, first="  Could also be: ", rest="    ")
    if finding.next_step:
        yield from _wrap(finding.next_step, first="  Next: ", rest="    ")


def _gaps(analysis: Analysed) -> Iterator[str]:
    gaps = unmeasured(analysis)
    if not gaps:
        return
    yield "COULD NOT BE MEASURED"
    for gap in gaps:
        yield from _wrap(f"{gap.what}: {gap.reason}", first="* ", rest="  ")
        if gap.remedy:
            yield from _wrap(gap.remedy, first="  What would tell: ", rest="    ")


def _quality(analysis: Analysed) -> Iterator[str]:
    remarks = tuple(getattr(analysis.quality, "remarks", ()))
    if not remarks:
        return
    yield "ABOUT THE RECORDING"
    for remark in remarks:
        yield from _wrap(f"{remark.what} {remark.consequence}", first="* ", rest="  ")
