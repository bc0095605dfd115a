"""`--language`: in which language reports, help and messages speak."""

from __future__ import annotations

import gettext
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

import click

from spinlab.report.language import DOMAIN, ENGLISH, catalogues, languages, speaking, tell

# What `--language` defaults to.
LANGUAGE_VARIABLE = "SPINLAB_LANGUAGE"
_OPTION = "--language"
# Where gettext looks for the language of a process.
_GETTEXT_VARIABLE = "LANGUAGE"
Decorated = TypeVar("Decorated", bound=Callable[..., Any])


def complete_language(_context: click.Context, _option: click.Parameter, begun: str) -> list[str]:
    """Codes of the languages that ship, for the shell to offer."""
    return [code for code in languages() if code.startswith(begun)]


def _known(_context: click.Context, _option: click.Parameter, code: str) -> str:
    """Refuse a language that does not ship, and name those that do."""
    if code not in languages():
        raise click.BadParameter(
            tell("{code!r} is not among {known}.", code=code, known=", ".join(languages()))
        )
    return code


def language_option(command: Decorated) -> Decorated:
    """The option for commands that write reports."""
    option = click.option(
        _OPTION,
        metavar="CODE",
        default=ENGLISH,
        envvar=LANGUAGE_VARIABLE,
        show_default=True,
        callback=_known,
        shell_complete=complete_language,
        help="Language of text, page and picture: en or de; the JSON result stays English.",
    )
    return option(command)


def asked_language(arguments: Sequence[str]) -> str:
    """The language that a command line asks for, else the environment; English if neither ships.

    Help and messages must know it before the command line is understood.
    """
    code = os.environ.get(LANGUAGE_VARIABLE, ENGLISH)
    for place, word in enumerate(arguments):
        if word == _OPTION:
            code = arguments[place + 1] if place + 1 < len(arguments) else code
        elif word.startswith(f"{_OPTION}="):
            code = word.partition("=")[2]
    return code if code in languages() else ENGLISH


@contextmanager
def everything_in(code: str) -> Iterator[None]:
    """Let all that is said inside come in a language, click's own words too.

    click looks its words up in gettext's domain of the process, in the language of the process.
    """
    domain, spoken = gettext.textdomain(), os.environ.get(_GETTEXT_VARIABLE)
    with catalogues() as folder, speaking(code):
        gettext.bindtextdomain(DOMAIN, str(folder))
        gettext.textdomain(DOMAIN)
        os.environ[_GETTEXT_VARIABLE] = code
        try:
            yield
        finally:
            gettext.textdomain(domain)
            if spoken is None:
                del os.environ[_GETTEXT_VARIABLE]
            else:
                os.environ[_GETTEXT_VARIABLE] = spoken


def translated(command: click.Command) -> click.Command:
    """A command whose help speaks the language of this context."""
    import copy

    told = copy.copy(command)
    told.help = _paragraphs(command.help or "")
    told.short_help = tell(command.short_help) if command.short_help else None
    told.params = [_parameter(parameter) for parameter in command.params]
    if isinstance(told, click.Group):
        told.commands = {name: translated(one) for name, one in told.commands.items()}
    return told


def _paragraphs(text: str) -> str:
    """Paragraphs one by one; line breaks inside them are only the source's, unless after a \\b."""
    return "\n\n".join(
        tell(one if one.startswith("\b") else " ".join(one.split())) for one in text.split("\n\n")
    )


def _parameter(parameter: click.Parameter) -> click.Parameter:
    import copy

    if not isinstance(parameter, click.Option) or not parameter.help:
        return parameter
    told = copy.copy(parameter)
    told.help = tell(parameter.help)
    return told
