"""`spinlab compare`: recordings in; what changed, each change with its interval, out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from spinlab.report.language import tell

from .check import STANDARD_OUTPUT, complete_profile
from .exits import STATE_CODES
from .language import language_option
from .progress import Progress

if TYPE_CHECKING:
    from spinlab.analysis import Analysis
    from spinlab.finding import State
    from spinlab.machine import Machine

_file = click.Path(path_type=Path)


@click.command("compare")
@click.argument("recordings", type=_file, nargs=-1, required=True)
@click.option(
    "--machine",
    "profile",
    metavar="PROFILE",
    shell_complete=complete_profile,
    help="The units' profile: a name from `spinlab machines`, or the path of a TOML profile.",
)
@click.option(
    "--json",
    "json_file",
    type=_file,
    metavar="FILE",
    help="Write the comparison as JSON (- for standard output instead of the text).",
)
@click.option(
    "--page",
    "page_file",
    type=_file,
    metavar="FILE",
    help="Write one self-contained page for a browser (.html).",
)
@click.option(
    "--baseline",
    "baseline_file",
    type=_file,
    metavar="FILE",
    help="Hold each recording against good ones (from `spinlab baseline`) instead.",
)
@click.option(
    "--moved",
    is_flag=True,
    help="The phone did not lie in the same place each time: widen every interval accordingly.",
)
@language_option
@click.option("--quiet", is_flag=True, help="Print nothing; the exit code tells.")
def compare_command(
    recordings: tuple[Path, ...],
    profile: str | None,
    json_file: Path | None,
    page_file: Path | None,
    baseline_file: Path | None,
    moved: bool,
    language: str,
    quiet: bool,
) -> int:
    """Compare recordings, speed by speed: before and after a repair, good against worn.

    The first recording is what the others are held against. Exit code 10 says that a change is
    stated, 0 that none is, 12 that nothing could be compared. Record all of them with the same
    phone in the same place, within a hand's breadth; if it lay elsewhere, say --moved.
    """
    if baseline_file is None and len(recordings) < 2:
        raise click.UsageError(tell("Name two recordings or more; spinlab check looks at one."))
    if baseline_file is not None and moved:
        raise click.UsageError(
            tell("A baseline knows its own spread; --moved has no meaning with it.")
        )
    inputs = [*recordings, *_path(profile), *([baseline_file] if baseline_file else [])]
    prepare_targets([json_file, page_file], never=inputs)
    progress = Progress(wanted=not quiet)
    wanted = _Wanted(json_file=json_file, page_file=page_file, language=language)
    try:
        analyses = analyse_all(recordings, profile, progress)
        if baseline_file is not None:
            told = _held(baseline_file, analyses, wanted, progress)
        else:
            told = _compared(analyses, wanted, progress, same_place=not moved)
    finally:
        progress.wipe()
    if not quiet and json_file != STANDARD_OUTPUT:
        click.echo(told.text, nl=False)
    return STATE_CODES[told.state]


@dataclass(frozen=True, kw_only=True)
class _Wanted:
    """Where the results go, None where one is not wanted, and their language."""

    json_file: Path | None
    page_file: Path | None
    language: str


@dataclass(frozen=True, kw_only=True)
class Told:
    """The outcome's state, and its text for a terminal."""

    state: State
    text: str


def _compared(
    analyses: list[Analysis], wanted: _Wanted, progress: Progress, *, same_place: bool
) -> Told:
    from spinlab.comparison import compare
    from spinlab.report.compare_json import comparison_json
    from spinlab.report.compare_text import comparison_text

    comparison = compare(analyses, same_place=same_place, progress=progress)
    made = []
    if wanted.json_file is not None:
        made.append((wanted.json_file, comparison_json(comparison)))
    if wanted.page_file is not None:
        progress("Making the page", 0.0)
        from spinlab.report.compare_page import comparison_page

        page = comparison_page(comparison, analyses=analyses, language=wanted.language)
        made.append((wanted.page_file, page))
    write_all(made)
    text = comparison_text(comparison, language=wanted.language)
    return Told(state=comparison.state, text=text)


def _held(
    baseline_file: Path, analyses: list[Analysis], wanted: _Wanted, progress: Progress
) -> Told:
    from spinlab.baseline import hold_against, load_baseline
    from spinlab.comparison.value import worst
    from spinlab.report.held_page import held_json, held_page
    from spinlab.report.held_text import held_text

    baseline = load_baseline(baseline_file)
    units = [hold_against(baseline, analysis) for analysis in analyses]
    made = []
    if wanted.json_file is not None:
        made.append((wanted.json_file, held_json(baseline, units)))
    if wanted.page_file is not None:
        progress("Making the page", 0.0)
        made.append((wanted.page_file, held_page(baseline, units, language=wanted.language)))
    write_all(made)
    text = held_text(baseline, units, language=wanted.language)
    return Told(state=worst([unit.state for unit in units]), text=text)


def prepare_targets(targets: list[Path | None], *, never: list[Path]) -> None:
    """Refuse targets that cannot be meant or written, before any work is done."""
    from spinlab.report.output import check_writable

    named = [path for path in targets if path is not None]
    if len({path.absolute() for path in named}) < len(named):
        raise click.UsageError(tell("Two results cannot go to the same file; name one for each."))
    check_writable((path for path in named if path != STANDARD_OUTPUT), never=never)


def _path(profile: str | None) -> list[Path]:
    return [Path(profile)] if profile is not None else []


def analyse_all(
    recordings: tuple[Path, ...], profile: str | None, progress: Progress
) -> list[Analysis]:
    """Read and analyse every recording with one profile, in the order given."""
    from spinlab.analysis import analyse
    from spinlab.machine import load_machine
    from spinlab.reading import read

    machine: Machine | None = None if profile is None else load_machine(profile)
    done: list[Analysis] = []
    for number, path in enumerate(recordings, start=1):
        progress.part(number, len(recordings))
        loaded = read(path, progress=progress.step("Reading the file"))
        done.append(analyse(loaded, machine, progress=progress))
    progress.part(len(recordings) + 1, len(recordings))
    return done


def write_all(made: list[tuple[Path, str]]) -> None:
    """Write finished texts to their files, or to standard output."""
    from spinlab.report.output import write_whole

    for path, content in made:
        if path == STANDARD_OUTPUT:
            click.echo(content, nl=False)
        else:
            write_whole(path, content.encode("utf-8"))
