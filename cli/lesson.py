"""`spinlab lesson`: two recordings in, one page out on which ears can be trained."""

from __future__ import annotations

from pathlib import Path

import click

from spinlab.report.language import tell_many

from .check import complete_profile
from .compare import analyse_all, prepare_targets, write_all
from .language import language_option
from .progress import Progress

_file = click.Path(path_type=Path)


@click.command("lesson")
@click.argument("first", type=_file)
@click.argument("second", type=_file)
@click.option("--out", type=_file, required=True, metavar="FILE", help="The page to write (.html).")
@click.option(
    "--machine",
    "profile",
    metavar="PROFILE",
    shell_complete=complete_profile,
    help="The units' profile: a name from `spinlab machines`, or the path of a TOML profile.",
)
@click.option("--moved", is_flag=True, help="The phone did not lie in the same place both times.")
@language_option
@click.option("--quiet", is_flag=True, help="Print nothing.")
def lesson_command(
    first: Path,
    second: Path,
    out: Path,
    profile: str | None,
    moved: bool,
    language: str,
    quiet: bool,
) -> None:
    """Make a listening lesson: pairs of clips at the same speed, the answer hidden.

    Two sound recordings, for instance of a good and a worn unit. The page asks which clip is
    which, and reveals the answer with its proof. The same two files make the same lesson.
    """
    inputs = [first, second, *([Path(profile)] if profile is not None else [])]
    prepare_targets([out], never=inputs)
    progress = Progress(wanted=not quiet)
    try:
        from spinlab.lesson import make_lesson

        made = make_lesson(
            *analyse_all((first, second), profile, progress),
            same_place=not moved,
            progress=progress,
        )
        progress("Making the page", 0.0)
        from spinlab.report.lesson_page import lesson_page

        write_all([(out, lesson_page(made, language=language))])
    finally:
        progress.wipe()
    if not quiet:
        click.echo(
            tell_many(
                "{file}  {count} question; open it in a browser",
                "{file}  {count} questions; open it in a browser",
                count=len(made.questions),
                file=str(out),
            )
        )
