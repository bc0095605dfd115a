"""`main`: runs the command line and turns every ending into an exit code and one sentence."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from spinlab.report.language import tell

from .exits import NO_OUTPUT, OWN_DEFECT, STOPPED

# Set to anything, this shows the full trace of a defect, for those who mend it.
TRACE_VARIABLE = "SPINLAB_TRACE"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run `spinlab` with the given arguments, or those of the process.

    Returns:
        The exit code (see `spinlab_cli.exits`).
    """
    from .language import asked_language, everything_in

    _never_fail_on_a_letter()
    given = list(sys.argv[1:] if arguments is None else arguments)
    with everything_in(asked_language(given)):
        code = _run(given)
    try:
        sys.stdout.flush()
    except OSError:
        return _output_gone(code)
    return code


def _run(arguments: Sequence[str]) -> int:
    import click

    from spinlab.errors import SpinlabError

    try:
        from .app import app
        from .language import translated

        told = translated(app)
        code = told.main(args=arguments, prog_name="spinlab", standalone_mode=False)
        return code if isinstance(code, int) else 0
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except SpinlabError as error:
        _say(tell(error.args[0]) if error.args else str(error))
        return error.exit_code
    except (KeyboardInterrupt, click.Abort):
        _say(tell("stopped; nothing half-written is left."))
        return STOPPED
    except BrokenPipeError:
        return _output_gone(0)
    except Exception as error:
        return _own_defect(error)


def _own_defect(error: Exception) -> int:
    if os.environ.get(TRACE_VARIABLE):
        import traceback

        traceback.print_exception(error)
    _say(
        tell(
            "a defect of spinlab, not of your recording ({where}); nothing was lost or changed. "
            "Please report this line with the file's length, format and size, the phone that made "
            "it, and the command you gave.",
            where=_where(error),
        )
    )
    return OWN_DEFECT


def _where(error: Exception) -> str:
    from spinlab.errors import printable

    trace, place = error.__traceback__, "an unknown place"
    while trace is not None:
        path = Path(trace.tb_frame.f_code.co_filename)
        if path.parent.name and {"spinlab", "spinlab_cli", "cli"} & set(path.parts):
            place = f"{path.parent.name}/{path.name}, line {trace.tb_lineno}"
        trace = trace.tb_next
    detail = printable(error)[:200]
    return f"{type(error).__name__} in {place}" + (f": {detail}" if detail else "")


def _say(sentence: str) -> None:
    print(f"spinlab: {sentence}", file=sys.stderr)


def _output_gone(code: int) -> int:
    """The reader of our output hung up: say nothing more, and do not fail while leaving."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return code or NO_OUTPUT


def _never_fail_on_a_letter() -> None:
    """A terminal that knows no plus-minus sign shows a question mark instead."""
    import io

    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
