"""Everything in files of its own: tables, pictures and sounds, for other programs and reports."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

from spinlab.clips import Heard, clips, heard
from spinlab.portrait import portrait
from spinlab.proofs import proofs
from spinlab.report.charts import chart_figure
from spinlab.report.json_output import json_text
from spinlab.report.language import ENGLISH, speaking
from spinlab.report.output import write_whole
from spinlab.report.pictures import PICTURE_FORMATS, figure, picture_bytes
from spinlab.report.tables import findings_csv, stages_csv, track_csv
from spinlab.result import Analysed

_LONGEST_NAME = 48


def exported(analysis: Analysed, *, language: str = ENGLISH) -> Iterator[tuple[str, bytes]]:
    """(file name, content) of every table, picture and sound.

    Args:
        analysis: a finished analysis.
        language: of the words in the pictures; tables and JSON stay English.
    """
    yield "result.json", json_text(analysis).encode("utf-8")
    yield "track.csv", track_csv(analysis).encode("utf-8")
    yield "stages.csv", stages_csv(analysis).encode("utf-8")
    yield "findings.csv", findings_csv(analysis).encode("utf-8")
    with speaking(language):
        yield from _pictures(analysis)
    for clip in clips(analysis):
        made = heard(analysis.recording, analysis.track, clip)
        yield f"sound-{clip.name}.wav", wav_bytes(made)


def _pictures(analysis: Analysed) -> Iterator[tuple[str, bytes]]:
    drawn = portrait(analysis.recording, analysis.track, analysis.stages, analysis.machine)
    for file_format in PICTURE_FORMATS:
        yield f"overview.{file_format}", picture_bytes(figure(drawn), file_format=file_format)
    for number, (finding, chart) in enumerate(
        zip(analysis.findings, proofs(analysis), strict=True), start=1
    ):
        if chart is None:
            continue
        name = re.sub(r"[^a-z0-9]+", "-", finding.subject.lower()).strip("-")[:_LONGEST_NAME]
        for file_format in PICTURE_FORMATS:
            content = picture_bytes(chart_figure(chart), file_format=file_format)
            yield f"proof-{number}-{name}.{file_format}", content


def wav_bytes(made: Heard) -> bytes:
    """A clip as a WAV file of 16-bit samples, at the rate at which it is to be heard."""
    import soundfile

    stream = io.BytesIO()
    soundfile.write(stream, made.samples, round(made.rate_hz), format="WAV", subtype="PCM_16")
    return stream.getvalue()


def write_export(analysis: Analysed, folder: Path, *, language: str = ENGLISH) -> tuple[Path, ...]:
    """Write everything into a folder, which is made if missing.

    Returns:
        The files, in the order in which they were written.

    Raises:
        OutputError: a file cannot be written.
    """
    made = list(exported(analysis, language=language))
    make_folder(folder)
    for name, content in made:
        write_whole(folder / name, content)
    return tuple(folder / name for name, _ in made)


def make_folder(folder: Path) -> None:
    """Make a folder for results, unless it is there.

    Raises:
        OutputError: it cannot be made, or a file of that name is in the way.
    """
    from spinlab.errors import OutputError, printable

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = "a file of that name is in the way" if folder.exists() else error.strerror
        raise OutputError(f"{printable(folder)} cannot be made: {reason}.") from error
