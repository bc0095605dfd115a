"""`spinlab baseline`: known-good recordings of one model in, one reference file out."""

from __future__ import annotations

from pathlib import Path

import click

from .check import complete_profile
from .compare import analyse_all, prepare_targets, write_all
from .language import language_option
from .progress import Progress

_file = click.Path(path_type=Path)


@click.command("baseline")
@click.argument("good", type=_file, nargs=-1, required=True)
@click.option("--out", type=_file, required=True, metavar="FILE", help="The file to write (.toml).")
@click.option(
    "--machine",
    "profile",
    metavar="PROFILE",
    shell_complete=complete_profile,
    help="The model's profile: a name from `spinlab machines`, or the path of a TOML profile.",
)
@language_option
@click.option("--quiet", is_flag=True, help="Print nothing.")
def baseline_command(
    good: tuple[Path, ...], out: Path, profile: str | None, language: str, quiet: bool
) -> None:
    """Make a reference of at least five known-good recordings of one model.

    The file says, for each speed and order, what good units show and how much they differ; each
    recording is checked against the others. Record all with the phone in the same place. Then
    hold a new unit against it: spinlab compare --baseline FILE RECORDING.
    """
    inputs = [*good, *([Path(profile)] if profile is not None else [])]
    prepare_targets([out], never=inputs)
    progress = Progress(wanted=not quiet)
    try:
        from spinlab.baseline import baseline_toml, make_baseline

        made = make_baseline(analyse_all(good, profile, progress), progress=progress)
        write_all([(out, baseline_toml(made))])
    finally:
        progress.wipe()
    if not quiet:
        from spinlab.report.held_text import baseline_text

        click.echo(baseline_text(made, language=language), nl=False)
