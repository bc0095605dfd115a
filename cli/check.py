"""`spinlab check`: one recording in; verdict, stage table and what could not be measured out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .calc import collect_readings, reading_options
from .exits import STATE_CODES

if TYPE_CHECKING:
    from spinlab.analysis import Analysis
    from spinlab.machine import Machine
    from spinlab.recording import Recording

    from .progress import Progress


def complete_profile(_context: click.Context, _option: click.Parameter, begun: str) -> list[str]:
    """Names of shipped profiles for the shell to offer."""
    from spinlab.machine import shipped

    return [name for name in shipped() if name.startswith(begun)]


_file = click.Path(path_type=Path)
STANDARD_OUTPUT = Path("-")


@click.command("check")
@click.argument("recording", type=_file)
@click.option(
    "--machine",
    "profile",
    metavar="PROFILE",
    shell_complete=complete_profile,
    help="The unit under test: a name from `spinlab machines`, or the path of a TOML profile.",
)
@click.option(
    "--json",
    "json_file",
    type=_file,
    metavar="FILE",
    help="Write the result as JSON (- for standard output instead of the text).",
)
@click.option(
    "--page",
    "page_file",
    type=_file,
    metavar="FILE",
    help="Write one self-contained page for a browser (.html).",
)
@click.option(
    "--picture",
    "picture_file",
    type=_file,
    metavar="FILE",
    help="Write the picture (.png, .svg or .pdf).",
)
@click.option("--quiet", is_flag=True, help="Print nothing; the exit code tells.")
@click.option(
    "--acceleration-unit",
    type=click.Choice(["m/s2", "g"]),
    help="Unit of an acceleration log; without it, gravity tells.",
)
@click.option(
    "--rate",
    "rate_hz",
    type=click.FloatRange(min=0, min_open=True, max=1e6),
    metavar="HZ",
    help="Samples per second of a log that has no time column.",
)
@reading_options
def check_command(
    recording: Path,
    profile: str | None,
    json_file: Path | None,
    page_file: Path | None,
    picture_file: Path | None,
    quiet: bool,
    acceleration_unit: Any,
    rate_hz: float | None,
    readings_file: Path | None,
    reading_lines: tuple[str, ...],
) -> int:
    """Check one recording of a spin test: sound, a video's sound, or an acceleration log.

    Run the built-in service spin test with the drum empty, as the maker's instructions say, and
    keep clear of the machine: plug out and drum at a standstill before any check by hand.
    """
    from spinlab.report.output import check_writable

    from .progress import Progress

    targets = [path for path in (json_file, page_file, picture_file) if path is not None]
    _sensible(targets, picture_file)
    check_writable(
        (path for path in targets if path != STANDARD_OUTPUT),
        never=_inputs(recording, profile, readings_file),
    )
    readings = collect_readings(readings_file, reading_lines)
    progress = Progress(wanted=not quiet)
    try:
        loaded, machine = _load(recording, profile, acceleration_unit, rate_hz, progress)
        from spinlab.analysis import analyse

        analysis = analyse(loaded, machine, progress=progress, readings=readings)
        _write(analysis, json_file, page_file, picture_file, progress)
    finally:
        progress.wipe()
    if not quiet and json_file != STANDARD_OUTPUT:
        from spinlab.report.text import text_report

        click.echo(text_report(analysis), nl=False)
    return STATE_CODES[analysis.verdict.state]


def _sensible(targets: list[Path], picture_file: Path | None) -> None:
    """Refuse what cannot be meant, before any work is done."""
    from spinlab.report.pictures import PICTURE_FORMATS

    if picture_file is not None and picture_file.suffix.lower()[1:] not in PICTURE_FORMATS:
        endings = ", ".join(f".{name}" for name in PICTURE_FORMATS)
        raise click.BadParameter(
            f"{str(picture_file)!r} must end in one of {endings}.", param_hint="--picture"
        )
    if len({path.absolute() for path in targets}) < len(targets):
        raise click.UsageError("Two results cannot go to the same file; name one for each.")


def _inputs(recording: Path, profile: str | None, readings_file: Path | None) -> list[Path]:
    more = [Path(profile)] if profile is not None else []
    return [recording, *more, *([readings_file] if readings_file is not None else [])]


def _load(
    recording: Path,
    profile: str | None,
    acceleration_unit: Any,
    rate_hz: float | None,
    progress: Progress,
) -> tuple[Recording, Machine | None]:
    from spinlab.machine import load_machine
    from spinlab.reading import read

    machine = None if profile is None else load_machine(profile)
    loaded = read(
        recording,
        acceleration_unit=acceleration_unit,
        rate_hz=rate_hz,
        progress=progress.step("Reading the file"),
    )
    return loaded, machine


def _write(
    analysis: Analysis,
    json_file: Path | None,
    page_file: Path | None,
    picture_file: Path | None,
    progress: Progress,
) -> None:
    """Make every result first, then write them: a failure leaves no half set behind."""
    from spinlab.report.output import write_whole

    made: list[tuple[Path, bytes]] = []
    if json_file is not None:
        from spinlab.report.json_output import json_text

        made.append((json_file, json_text(analysis).encode("utf-8")))
    if picture_file is not None:
        progress("Drawing the picture", 0.0)
        from spinlab.report.pictures import picture_of

        made.append((picture_file, picture_of(analysis, picture_file.suffix.lower()[1:])))
    if page_file is not None:
        progress("Making the page", 0.0)
        from spinlab.report.page import page_html

        made.append((page_file, page_html(analysis).encode("utf-8")))
    for path, content in made:
        if path == STANDARD_OUTPUT:
            click.echo(content.decode("utf-8"), nl=False)
        else:
            write_whole(path, content)
