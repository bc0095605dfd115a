"""`--language`: in which language reports and help speak."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any, TypeVar

import click

# What `--language` defaults to.
LANGUAGE_VARIABLE = "SPINLAB_LANGUAGE"
ENGLISH = "en"
Decorated = TypeVar("Decorated", bound=Callable[..., Any])


def complete_language(_context: click.Context, _option: click.Parameter, begun: str) -> list[str]:
    """Codes of the languages that ship, for the shell to offer."""
    from spinlab.report.language import languages

    return [code for code in languages() if code.startswith(begun)]


def _known(_context: click.Context, _option: click.Parameter, code: str) -> str:
    """Refuse a language that does not ship, and name those that do."""
    from spinlab.report.language import languages

    if code not in languages():
        raise click.BadParameter(f"{code!r} is not among {', '.join(languages())}.")
    return code


def language_option(command: Decorated) -> Decorated:
    """The option for commands that write reports."""
    option = click.option(
        "--language",
        metavar="CODE",
        default=ENGLISH,
        envvar=LANGUAGE_VARIABLE,
        show_default=True,
        callback=_known,
        shell_complete=complete_language,
        help="Language of text, page and picture: en or de; the JSON result stays English.",
    )
    return option(command)


def wanted_language() -> str:
    """The language of the environment, for help texts; English where it does not ship."""
    from spinlab.report.language import languages

    code = os.environ.get(LANGUAGE_VARIABLE, ENGLISH)
    return code if code in languages() else ENGLISH
