"""How far the numbers can be trusted: one command for every accuracy table.

    python -m tests.benchmarks.accuracy [--only speed|bound|alternatives|faults|cost] [--count N]

Everything is simulated with known truth; nothing here is measured on a real machine.  An
interrupted run goes on where it stopped.  With --publish, a dated table and picture are written
to docs/accuracy/.
"""

from __future__ import annotations

import datetime
import os
import platform
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import click

from tests.benchmarks.runner import PROJECT, code_version, default_folder, one_thread_each

PARTS = ("speed", "bound", "alternatives", "faults", "cost")
# Files of the bench itself that decide what is measured: a change in them starts anew.
INFLUENTIAL = (
    "population.py",
    "scoring.py",
    "profiles.py",
    "speed.py",
    "audible.py",
    "efficiency.py",
    "methods.py",
    "ridge.py",
    "other_environment.py",
    "alternatives.py",
    "faults.py",
    "cost.py",
)
LOGS_SHARE = 4  # one acceleration log for so many sounds
PUBLISHED = PROJECT / "docs" / "accuracy"


@dataclass(frozen=True, kw_only=True)
class Options:
    """What was asked on the command line."""

    count: int
    begin: int
    part: str
    folder: Path
    version: str
    workers: int | None
    today: str
    written: Path | None
    longest_s: float
    reference_python: str | None

    def picture(self, name: str) -> Path | None:
        """Where a picture goes, None where nothing is written."""
        return None if self.written is None else self.written / f"{name}-{self.today}.png"


@dataclass(frozen=True, kw_only=True)
class Section:
    """What one part of the bench has to say: Markdown, and pictures already drawn."""

    title: str
    text: str
    pictures: tuple[str, ...] = ()


def speed_section(options: Options) -> Section:
    """The speed tables: of sound, and of acceleration logs."""
    from tests.benchmarks import speed
    from tests.benchmarks.population import RANGES, draw_cases, draw_logs
    from tests.benchmarks.runner import run

    shared: dict[str, Any] = {
        "folder": options.folder,
        "version": options.version,
        "workers": options.workers,
    }
    cases = draw_cases(options.count, options.part, begin=options.begin)
    results = run(f"speed-{options.part}", speed.measure, cases, **shared)
    begin = options.begin // LOGS_SHARE
    logs = draw_logs(max(options.count // LOGS_SHARE, 1), options.part, begin=begin)
    felt = run(f"logs-{options.part}", speed.measure, logs, **shared)
    first = RANGES[options.part][0] + options.begin
    where = f"Seeds {first} to {first + options.count - 1} of the {options.part} range"
    pictures: list[str] = []
    target = options.picture("speed")
    if target is not None:
        from tests.benchmarks.pictures import draw_speed

        pictures.append(draw_speed(results, target))
    text = speed.report(results, where) + "\n\n"
    text += speed.report_logs(felt, f"Logs of seeds {logs[0].seed} to {logs[-1].seed}")
    return Section(title="Speed of plateaus", text=text, pictures=tuple(pictures))


def other_section(name: str) -> Callable[[Options], Section]:
    """The section that the module of this name makes."""

    def make(options: Options) -> Section:
        module: Any = import_module(f"tests.benchmarks.{name}")
        section: Section = module.section(options)
        return section

    return make


SECTIONS: dict[str, Callable[[Options], Section]] = {
    "speed": speed_section,
    "bound": other_section("efficiency"),
    "alternatives": other_section("alternatives"),
    "faults": other_section("faults"),
    "cost": other_section("cost"),
}


def preface(options: Options) -> str:
    """What was run, on what, and with which seeds."""
    from tests.benchmarks.population import RANGES

    ranges = ", ".join(f"{name} {a} to {b - 1}" for name, (a, b) in RANGES.items())
    return (
        f"Simulated recordings with known truth; nothing was measured on a real machine.\n"
        f"Seed ranges: {ranges}; here: {options.part}. Code {options.version}; Python "
        f"{platform.python_version()}, {platform.machine()}."
    )


def publish(sections: Sequence[Section], options: Options, folder: Path) -> Path:
    """Write the dated Markdown file; the pictures lie beside it already."""
    parts = [f"# Accuracy, {options.today}", preface(options)]
    for section in sections:
        parts += [f"## {section.title}", section.text]
        parts += [f"![{section.title}]({name})" for name in section.pictures]
    target = folder / f"accuracy-{options.today}.md"
    part = target.with_suffix(".part")
    part.write_text("\n\n".join(parts) + "\n", "utf-8")
    os.replace(part, target)
    return target


@click.command(help=__doc__)
@click.option("--count", default=200, show_default=True, help="Recordings to simulate.")
@click.option("--begin", default=0, help="Number of the first recording (speed, alternatives).")
@click.option("--only", type=click.Choice(PARTS), multiple=True, help="Parts to run (all).")
@click.option("--range", "part", type=click.Choice(["report", "tuning"]), default="report")
@click.option("--longest", default=7200.0, show_default=True, help="Longest file to time, s.")
@click.option(
    "--reference-python", help="Interpreter of an environment that holds rota-order (optional)."
)
@click.option("--workers", type=int, help="Processes (every core).")
@click.option("--cache", type=click.Path(path_type=Path), help="Folder of kept results.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for tables and pictures.")
@click.option("--publish", "public", is_flag=True, help="Write them to docs/accuracy/.")
def main(
    count: int,
    begin: int,
    only: tuple[str, ...],
    part: str,
    longest: float,
    reference_python: str | None,
    workers: int | None,
    cache: Path | None,
    out: Path | None,
    public: bool,
) -> None:
    """Run the parts that were asked for and print exactly what they measured."""
    one_thread_each()
    folder = PUBLISHED if public else out
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
    options = Options(
        count=count,
        begin=begin,
        part=part,
        folder=cache or default_folder(),
        version=code_version(INFLUENTIAL),
        workers=workers,
        today=datetime.date.today().isoformat(),
        written=folder,
        longest_s=longest,
        reference_python=reference_python,
    )
    click.echo(preface(options))
    sections = []
    for name in only or PARTS:
        section = SECTIONS[name](options)
        click.echo(f"\n## {section.title}\n\n{section.text}")
        sections.append(section)
    if folder is not None:
        click.echo(f"\nWritten: {publish(sections, options, folder)}")


if __name__ == "__main__":
    main()
