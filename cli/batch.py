"""`spinlab batch`: a folder or list of recordings in; results, an index page and a table out."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .check import complete_profile

if TYPE_CHECKING:
    from spinlab.batch import Status, Tally

_BETWEEN_S = 0.2
_WIDTH = 15


@click.command("batch")
@click.argument("source", metavar="FOLDER", type=click.Path(path_type=Path))
@click.option(
    "--out",
    required=True,
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    help="Where results, index.html and results.csv go; the same again goes on where it stopped.",
)
@click.option(
    "--machine",
    "profile",
    metavar="PROFILE",
    shell_complete=complete_profile,
    help="Profile for all: a name from `spinlab machines`, or a TOML file. A profiles.csv in "
    "FOLDER (columns recording, machine) goes before it.",
)
@click.option(
    "--workers",
    type=click.IntRange(1, 1024),
    metavar="N",
    help="Recordings at a time; as many as there are processors.",
)
@click.option("--watch", is_flag=True, help="Go on for ever, checking what is put into FOLDER.")
@click.option(
    "--settle",
    "settle_s",
    type=click.FloatRange(0.5, 3600),
    default=5.0,
    show_default=True,
    metavar="S",
    help="With --watch: a file is whole once it has not changed for so long.",
)
@click.option("--page", is_flag=True, help="Also a page for each recording (1 to 2 MB each).")
@click.option(
    "--redo",
    type=click.Choice(["failed", "all"]),
    help="Finished work to do again: what could not be checked, or everything.",
)
@click.option(
    "--time-limit",
    "time_limit_s",
    type=click.FloatRange(1),
    default=1800.0,
    show_default=True,
    metavar="S",
    help="For one recording.",
)
@click.option(
    "--memory-limit",
    "memory_limit_mb",
    type=click.FloatRange(200),
    default=4000.0,
    show_default=True,
    metavar="MB",
    help="For one recording.",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Let a Dask cluster do the work (tcp://host:8786). It must see the same folders.",
)
@click.option("--quiet", is_flag=True, help="Print nothing; the exit code tells.")
def batch_command(
    source: Path,
    out: Path,
    profile: str | None,
    workers: int | None,
    watch: bool,
    settle_s: float,
    page: bool,
    redo: Any,
    time_limit_s: float,
    memory_limit_mb: float,
    scheduler: str | None,
    quiet: bool,
) -> int:
    """Check every recording in FOLDER and below, several at a time, and index what was found.

    FOLDER may also be a list: a text with one path a line, or a CSV table with the columns
    recording and machine. Work that is finished is never done again, and a bad file stops no other.

    The exit code is that of the gravest outcome: 11 a fault, 10 attention, 70 a crash or defect of
    ours, 20 a recording that could not be read or used, 12 not measurable, 0 all fine.
    """
    from dataclasses import replace

    from spinlab.batch import DEFAULT_LIMITS, run_batch

    limits = replace(DEFAULT_LIMITS, wall_s=time_limit_s, memory_bytes=round(memory_limit_mb * 1e6))
    screen = _Screen(wanted=not quiet)
    try:
        tally = run_batch(
            source,
            out,
            machine=profile,
            workers=workers,
            scheduler=scheduler,
            watch=watch,
            page=page,
            redo=redo or "nothing",
            limits=limits,
            settle_s=settle_s,
            tell=screen,
        )
    finally:
        screen.wipe()
    if not quiet:
        _sum_up(tally)
    return tally.exit_code


class _Screen:
    """One line a finished file on standard output; on a terminal, a last line with the progress."""

    def __init__(self, *, wanted: bool) -> None:
        self._wanted = wanted
        self._alive = wanted and sys.stderr.isatty()
        self._written = 0
        self._last_s = 0.0

    def __call__(self, status: Status) -> None:
        from spinlab.errors import printable

        if not self._wanted:
            return
        if status.name:
            self.wipe()
            name, sentence = printable(status.name), printable(status.sentence)
            click.echo(f"{status.outcome:<{_WIDTH}} {name}  {sentence}")
        if status.warning:
            self.wipe()
            click.echo(f"spinlab: {status.warning}", err=True)
        if self._alive and time.monotonic() - self._last_s > _BETWEEN_S:
            self._last_s = time.monotonic()
            self._write(f"{status.done} of {status.total} files{_left(status.left_s)}")

    def wipe(self) -> None:
        """Leave a clean line behind."""
        if self._written:
            self._write("")
            sys.stderr.write("\r")
            sys.stderr.flush()
            self._written = 0

    def _write(self, line: str) -> None:
        sys.stderr.write("\r" + line.ljust(self._written))
        sys.stderr.flush()
        self._written = len(line)


def _left(left_s: float | None) -> str:
    if left_s is None or left_s < 1:
        return ""
    if left_s < 90:
        return f", about {left_s:.0f} s left"
    if left_s < 5400:
        return f", about {left_s / 60:.0f} min left"
    return f", about {left_s / 3600:.1f} h left"


def _sum_up(tally: Tally) -> None:
    words = (
        "with a fault",
        "for attention",
        "failed by a crash or defect",
        "not readable or usable",
        "not measurable",
        "fine",
    )
    found = [f"{n} {words[rank]}" for rank, n in sorted(tally.ranks.items()) if n]
    click.echo(f"\n{tally.files} files: {', '.join(found)}.")
    click.echo(f"{tally.analysed} analysed now, {tally.kept} known before or the same content.")
    click.echo(f"Open {tally.index} (or {tally.table}).")
