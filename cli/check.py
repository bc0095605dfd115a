"""`spinlab check`: one recording in; verdict, stage table and what could not be measured out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .calc import collect_readings, reading_options
from .exits import STATE_CODES
from .language import language_option
from .wanted import STANDARD_OUTPUT, Wanted

if TYPE_CHECKING:
    from spinlab.machine import Machine
    from spinlab.phases import Correction
    from spinlab.recording import Recording

    from .progress import Progress

__all__ = ["STANDARD_OUTPUT", "check_command", "complete_profile"]


def complete_profile(_context: click.Context, _option: click.Parameter, begun: str) -> list[str]:
    """Names of shipped profiles for the shell to offer."""
    from spinlab.machine import shipped

    return [name for name in shipped() if name.startswith(begun)]


_file = click.Path(path_type=Path)


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
@click.option(
    "--export",
    "export_folder",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Write tables (CSV), pictures (PNG, SVG, PDF) and sounds (WAV) into a folder.",
)
@language_option
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
@click.option(
    "--phase",
    "phase_lines",
    multiple=True,
    metavar="LABEL=START-END",
    help="Correct a phase of a whole service test, e.g. spin=1:15-2:20; may be repeated.",
)
@reading_options
def check_command(
    recording: Path,
    profile: str | None,
    json_file: Path | None,
    page_file: Path | None,
    picture_file: Path | None,
    export_folder: Path | None,
    language: str,
    quiet: bool,
    acceleration_unit: Any,
    rate_hz: float | None,
    phase_lines: tuple[str, ...],
    readings_file: Path | None,
    reading_lines: tuple[str, ...],
) -> int:
    """Check one recording of a spin test: sound, a video's sound, or an acceleration log.

    Run the built-in service spin test with the drum empty, as the maker's instructions say, and
    keep clear of the machine: plug out and drum at a standstill before any check by hand.
    """
    from .progress import Progress

    wanted = Wanted(
        json_file=json_file,
        page_file=page_file,
        picture_file=picture_file,
        export_folder=export_folder,
        language=language,
    )
    wanted.check(never=_inputs(recording, profile, readings_file))
    readings = collect_readings(readings_file, reading_lines)
    corrections = _corrections(phase_lines)
    progress = Progress(wanted=not quiet)
    try:
        loaded, machine = _load(recording, profile, acceleration_unit, rate_hz, progress)
        from spinlab.analysis import analyse

        analysis = analyse(
            loaded, machine, progress=progress, readings=readings, corrections=corrections
        )
        wanted.write(analysis, progress)
    finally:
        progress.wipe()
    if not quiet and json_file != STANDARD_OUTPUT:
        from spinlab.report.text import text_report

        click.echo(text_report(analysis, language=language), nl=False)
    return STATE_CODES[analysis.verdict.state]


def _corrections(lines: tuple[str, ...]) -> tuple[Correction, ...]:
    if not lines:
        return ()
    from spinlab.phases import parse_correction

    return tuple(parse_correction(line) for line in lines)


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
