"""The root of the command line: a group that imports a command only when it is called."""

from __future__ import annotations

import difflib
import importlib

import click

from spinlab.report.language import tell

from .commands import COMMANDS
from .exits import EXIT_CODES
from .language import translated


class LazyGroup(click.Group):
    """A click group whose commands stay unimported until they are needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table: the main job first."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command of that name."""
        entry = COMMANDS.get(cmd_name)
        if entry is None:
            return None
        return translated(getattr(importlib.import_module(entry.module), entry.attribute))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or suggest the nearest one."""
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            close = difflib.get_close_matches(name, COMMANDS, n=1, cutoff=0.5)
            ctx.fail(
                tell(
                    "There is no command {name!r}; did you mean {close}?", name=name, close=close[0]
                )
                if close
                else tell("There is no command {name!r}; see spinlab --help.", name=name)
            )
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table, importing none."""
        with formatter.section(tell("Commands")):
            formatter.write_dl([(name, tell(entry.help)) for name, entry in COMMANDS.items()])

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the exit codes."""
        with formatter.section(tell("Exit codes")):
            formatter.write_dl([(str(code), tell(says)) for code, says in EXIT_CODES.items()])


def _print_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        from spinlab import __version__

        click.echo(f"spinlab {__version__}")
        ctx.exit()


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_version,
    help="Print the version and stop.",
)
def app() -> None:
    """Evidence from one phone recording of a washing machine's spin test.

    `spinlab check RECORDING` finds the drum's true speed over time, holds it against the
    programme's stages, and says what the noise proves about the machine and what it cannot.
    """
