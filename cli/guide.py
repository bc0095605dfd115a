"""`spinlab guide`: how to record; with a recording, what it is fit for and how to do better."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from .check import complete_profile
from .exits import FINE, NOT_MEASURABLE
from .language import language_option

_file = click.Path(path_type=Path)


@click.command("guide")
@click.argument("recording", required=False, type=_file)
@click.option(
    "--machine",
    "profile",
    metavar="PROFILE",
    shell_complete=complete_profile,
    help="The unit under test: its top speed decides how fast a sensor log must be.",
)
@click.option(
    "--page",
    "page_file",
    type=_file,
    metavar="FILE",
    help="Write the guide as one sheet to print (.html).",
)
@click.option(
    "--acceleration-unit",
    type=click.Choice(["m/s2", "g"]),
    help="Unit of an acceleration log; without it, gravity tells.",
)
@language_option
def guide_command(
    recording: Path | None,
    profile: str | None,
    page_file: Path | None,
    acceleration_unit: Any,
    language: str,
) -> int:
    """Show on one page how to record a spin test so that much can be told.

    With a RECORDING, say within seconds what it is fit for and how the next take would be better;
    `spinlab check` then measures.  Exit code 12 if it is fit for nothing.
    """
    from spinlab.report.guide import guide_page, guide_text

    if page_file is not None:
        from spinlab.report.output import check_writable, write_whole

        check_writable([page_file], never=[recording] if recording is not None else [])
        write_whole(page_file, guide_page(language=language).encode("utf-8"))
    if recording is not None:
        return _fitness(recording, profile, acceleration_unit, language)
    if page_file is None:
        click.echo(guide_text(language=language), nl=False)
    return FINE


def _fitness(recording: Path, profile: str | None, acceleration_unit: Any, language: str) -> int:
    from spinlab.fitness import better_take, fitness
    from spinlab.machine import load_machine
    from spinlab.quality import assess
    from spinlab.reading import read
    from spinlab.report.guide import fitness_text
    from spinlab.report.words import one_line

    machine = None if profile is None else load_machine(profile)
    quality = assess(read(recording, acceleration_unit=acceleration_unit))
    fits = fitness(quality, machine)
    click.echo(
        fitness_text(
            one_line(recording.name),
            fits,
            better_take(quality, machine=machine),
            remarks=tuple(f"{remark.what} {remark.consequence}" for remark in quality.remarks),
            language=language,
        ),
        nl=False,
    )
    return NOT_MEASURABLE if all(fit.fitness == "not fit" for fit in fits) else FINE
