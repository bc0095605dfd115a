"""What happens to one recording inside the contained child: decode, analyse, write, summarise.

The child gets paths that the worker made and returns a few plain values; everything large lies in
the folder it was given.  What it returns is outside text to its caller.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spinlab.errors import InputError

if TYPE_CHECKING:
    from spinlab.analysis import Analysis
    from spinlab.meter import Reading

# What a folder of results holds; `sound` and `shared_sound` only for sound.
RESULT, PAGE, SOUND = "result.json", "page.html", "sound.mp4"
SHARED_RESULT, SHARED_PAGE, SHARED_SOUND = "shared.json", "shared.html", "shared.mp4"
SOUND_TYPE = "audio/mp4"


def examine(
    original: str, name: str, profile: str, readings: list[str], folder: str
) -> dict[str, Any]:
    """Analyse one original and write its results.

    Args:
        original: path of the recording.
        name: what the technician's phone called it, for display.
        profile: name of a shipped profile or path of the operator's; empty for none.
        readings: the technician's meter readings, one a line.
        folder: an empty folder for the results.

    Returns:
        Verdict and findings as plain values.

    Raises:
        InputError: the recording, profile or a reading cannot be used.
    """
    from spinlab.analysis import analyse
    from spinlab.machine import load_machine
    from spinlab.reading import read

    machine = load_machine(profile) if profile else None
    try:
        recording = read(original)
    except InputError as error:
        # the sentence is shown to the sender, and where the desk keeps its files is not theirs
        raise type(error)(str(error).replace(original, "The recording")) from error
    recording = replace(recording, source=replace(recording.source, file=name))
    analysis = analyse(recording, machine, readings=_parsed(readings))
    _write(analysis, Path(folder))
    return _summary(analysis)


def parse_readings(text: str) -> list[str]:
    """Lines of readings as typed, each tried out.

    Raises:
        InputError: a line makes no sense; the message says which and why.
    """
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if len(lines) > 40:
        raise InputError("More than 40 lines of readings were given; give the ones that matter.")
    _parsed(lines)
    return lines


def _parsed(lines: list[str]) -> tuple[Reading, ...]:
    from spinlab.meter import parse_reading

    return tuple(parse_reading(line) for line in lines)


def _write(analysis: Analysis, folder: Path) -> None:
    from spinlab.desk.listening import write_listening_copy
    from spinlab.desk.voices import without_speech
    from spinlab.report.json_output import json_text
    from spinlab.report.page import page_html

    shared = replace(analysis, recording=without_speech(analysis.recording))
    hearable = analysis.recording.kind == "sound"
    for each, result, page, sound in (
        (analysis, RESULT, PAGE, SOUND),
        (shared, SHARED_RESULT, SHARED_PAGE, SHARED_SOUND),
    ):
        (folder / result).write_text(json_text(each), "utf-8")
        (folder / page).write_text(page_html(each), "utf-8")
        if hearable:
            write_listening_copy(each.recording, folder / sound)


def _summary(analysis: Analysis) -> dict[str, Any]:
    from spinlab import __version__
    from spinlab.report.language import tell
    from spinlab.report.words import in_full, sorted_findings
    from spinlab.result import plain

    told = [
        {key: plain(getattr(one, key)) for key in ("kind", "state", "probability", "rivals")}
        | {"subject": str(one.subject)}
        | {key: in_full(getattr(one, key)) for key in ("reason", "next_step")}
        for one in sorted_findings(analysis.findings)
    ]
    verdict = analysis.verdict
    summary = {
        "verdict": {"state": verdict.state, "sentence": tell(verdict.sentence)},
        "software": __version__,
        "findings": told,
    }
    loaded: dict[str, Any] = json.loads(json.dumps(summary, allow_nan=False))
    return loaded
