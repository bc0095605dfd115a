"""One mode of the fault bench by itself, and what is kept of a run that has not ended.

    python -m tests.benchmarks.fault_bench [--mode given|whole] [--fault NAME] [--so-far] [--help]

Everything is simulated; nothing here was measured on a machine.  A run that was stopped goes on
where it was.
"""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import click

from tests.benchmarks.fault_tables import report
from tests.benchmarks.faults import HEALTHY, Mode, measure, units
from tests.benchmarks.population import RANGES
from tests.benchmarks.runner import (
    code_version,
    default_folder,
    one_thread_each,
    read_lines,
    run,
)


@click.command(help=__doc__)
@click.option("--mode", type=click.Choice(get_args(Mode)), default="given", show_default=True)
@click.option("--healthy", default=500, show_default=True, help="Healthy sounds.")
@click.option("--begin", default=0, help="Number of the first healthy sound.")
@click.option("--logs", default=100, show_default=True, help="Healthy logs.")
@click.option("--each", default=24, show_default=True, help="Units of each fault.")
@click.option("--moderate", default=30, show_default=True, help="Of each bearing fault, moderate.")
@click.option("--moderate-begin", default=0, help="Number of the first moderate unit.")
@click.option("--fault", "only", multiple=True, help="Only these faults, and healthy units.")
@click.option("--range", "part", type=click.Choice(tuple(RANGES)), default="report")
@click.option("--workers", type=int, help="Processes (every core).")
@click.option("--cache", type=click.Path(path_type=Path), help="Folder of kept results.")
@click.option("--so-far", is_flag=True, help="Run nothing; report what is kept.")
def main(
    mode: Mode,
    healthy: int,
    begin: int,
    logs: int,
    each: int,
    moderate: int,
    moderate_begin: int,
    only: tuple[str, ...],
    part: str,
    workers: int | None,
    cache: Path | None,
    so_far: bool,
) -> None:
    """Run one mode and print its tables."""
    one_thread_each()
    version = code_version(("population.py", "profiles.py", "simulated.py", "faults.py"))
    folder, name = cache or default_folder(), f"faults-{mode}-{part}"
    last = moderate_begin + moderate
    wanted = units(
        healthy=begin + healthy, logs=logs, each=each, moderate=last, part=part, mode=mode
    )
    wanted = [unit for unit in wanted if not only or unit.fault in (HEALTHY, *only)]
    wanted = [unit for unit in wanted if unit.fault != HEALTHY or unit.felt or unit.number >= begin]
    wanted = [unit for unit in wanted if not unit.moderate or unit.number >= moderate_begin]
    if so_far:
        kept = read_lines(folder / f"{name}-{version}.jsonl")
        results = [kept[unit.key] for unit in wanted if unit.key in kept]
    else:
        results = run(name, measure, wanted, folder=folder, version=version, workers=workers)
    first, _ = RANGES[part]
    click.echo(f"Speed {mode}; {len(results)} of {len(wanted)} units; seeds from {first} ({part});")
    click.echo(f"code {version}.\n\n{report(results)}")


if __name__ == "__main__":
    main()
