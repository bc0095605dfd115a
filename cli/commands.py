"""Every command with its one-line help, so that `--help` need not import any of them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Command:
    """Where a command lives and what its line in `spinlab --help` says."""

    module: str
    attribute: str
    help: str


COMMANDS: dict[str, Command] = {
    "check": Command(
        module="spinlab_cli.check",
        attribute="check_command",
        help="Check one recording of a spin test and say what it proves.",
    ),
    "batch": Command(
        module="spinlab_cli.batch",
        attribute="batch_command",
        help="Check a whole folder, resumably, and index what was found.",
    ),
    "guide": Command(
        module="spinlab_cli.guide",
        attribute="guide_command",
        help="Show how to record, or judge how fit a recording is.",
    ),
    "compare": Command(
        module="spinlab_cli.compare",
        attribute="compare_command",
        help="Compare recordings: before and after, good against worn.",
    ),
    "baseline": Command(
        module="spinlab_cli.baseline",
        attribute="baseline_command",
        help="Make a reference of known-good recordings of one model.",
    ),
    "lesson": Command(
        module="spinlab_cli.lesson",
        attribute="lesson_command",
        help="Make a listening lesson of two recordings.",
    ),
    "machines": Command(
        module="spinlab_cli.machines",
        attribute="machines_command",
        help="List the machine profiles, or print one to start from.",
    ),
    "bearing": Command(
        module="spinlab_cli.bearing",
        attribute="bearing_command",
        help="Show at which frequencies a bearing would be heard.",
    ),
    "calc": Command(
        module="spinlab_cli.calc",
        attribute="calc_command",
        help="Small sums of the trade, with their units and their source.",
    ),
    "simulate": Command(
        module="spinlab_cli.simulate",
        attribute="simulate_command",
        help="Make an invented recording with its truth beside it.",
    ),
    "desk": Command(
        module="spinlab_cli.desk",
        attribute="desk_command",
        help="Run the support service: uploads in, a queue, answers back.",
    ),
}
