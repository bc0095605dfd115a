"""`spinlab compare`: recordings in; what changed, each change with its interval, out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .check import STANDARD_OUTPUT, complete_profile
from .exits import STATE_CODES
from .progress import Progress

if TYPE_CHECKING:
    from spinlab.analysis import Analysis
    from spinlab.comparison import Comparison
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
    "--moved",
    is_flag=True,
    help="The phone did not lie in the same place each time: widen every interval accordingly.",
)
@click.option("--quiet", is_flag=True, help="Print nothing; the exit code tells.")
def compare_command(
    recordings: tuple[Path, ...],
    profile: str | None,
    json_file: Path | None,
    page_file: Path | None,
    moved: bool,
    quiet: bool,
) -> int:
    """Compare recordings, speed by speed: before and after a repair, good against worn.

    The first recording is what the others are held against. Exit code 10 says that a change is
    stated, 0 that none is, 12 that nothing could be compared. Record all of them with the same
    phone in the same place, within a hand's breadth; if it lay elsewhere, say --moved.
    """
    if len(recordings) < 2:
        raise click.UsageError("Name two recordings or more; spinlab check looks at one.")
    prepare_targets([json_file, page_file], never=[*recordings, *_path(profile)])
    progress = Progress(wanted=not quiet)
    try:
        from spinlab.comparison import compare

        comparison = compare(
            analyse_all(recordings, profile, progress), same_place=not moved, progress=progress
        )
        _write(comparison, json_file, page_file, progress)
    finally:
        progress.wipe()
    if not quiet and json_file != STANDARD_OUTPUT:
        from spinlab.report.compare_text import comparison_text

        click.echo(comparison_text(comparison), nl=False)
    return STATE_CODES[comparison.state]


def prepare_targets(targets: list[Path | None], *, never: list[Path]) -> None:
    """Refuse targets that cannot be meant or written, before any work is done."""
    from spinlab.report.output import check_writable

    named = [path for path in targets if path is not None]
    if len({path.absolute() for path in named}) < len(named):
        raise click.UsageError("Two results cannot go to the same file; name one for each.")
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
        which = f"{number} of {len(recordings)}: "
        loaded = read(path, progress=progress.step(which + "Reading the file"))
        done.append(analyse(loaded, machine, progress=_prefixed(progress, which)))
    return done


def _prefixed(progress: Progress, which: str) -> Any:
    return lambda step, share: progress(which + step, share)


def _write(
    comparison: Comparison,
    json_file: Path | None,
    page_file: Path | None,
    progress: Progress,
) -> None:
    """Make every result first, then write them: a failure leaves no half set behind."""
    made: list[tuple[Path, str]] = []
    if json_file is not None:
        from spinlab.report.compare_json import comparison_json

        made.append((json_file, comparison_json(comparison)))
    if page_file is not None:
        progress("Making the page", 0.0)
        from spinlab.report.compare_page import comparison_page

        made.append((page_file, comparison_page(comparison)))
    write_all(made)


def write_all(made: list[tuple[Path, str]]) -> None:
    """Write finished texts to their files, or to standard output."""
    from spinlab.report.output import write_whole

    for path, content in made:
        if path == STANDARD_OUTPUT:
            click.echo(content, nl=False)
        else:
            write_whole(path, content.encode("utf-8"))
