"""The one tree of errors that spinlab raises on purpose.

    SpinlabError                    70  our own defect, if nothing below fits
    +-- InputError                  20  the recording or profile cannot be used
    |   +-- UnreadableRecording     20
    |   +-- InvalidMachine          20
    +-- OutputError                 21  a result cannot be written
    +-- JobEnded                    70  work in a child process ended without an answer

Each message is one sentence: what is wrong, and what to do about it.  The command line turns
the class into its exit code; library callers catch the class.
"""

from __future__ import annotations

from functools import partial
from typing import Any, Literal


class SpinlabError(Exception):
    """Base of every error raised on purpose."""

    exit_code = 70


class InputError(SpinlabError):
    """Something the user handed in cannot be used."""

    exit_code = 20


class UnreadableRecording(InputError):
    """The file holds no sound or acceleration that can be read."""


class InvalidMachine(InputError):
    """The machine profile is missing, malformed or contradicts itself."""


class OutputError(SpinlabError):
    """A result could not be written where it was asked for."""

    exit_code = 21


JobEnding = Literal["start", "timeout", "cpu", "memory", "crash", "killed", "defect", "stopped"]


class JobEnded(SpinlabError):
    """Work in a child process ended without an answer; `kind` tells how."""

    def __init__(self, message: str, *, kind: JobEnding) -> None:
        super().__init__(message)
        self.kind: JobEnding = kind

    def __reduce__(self) -> tuple[Any, ...]:
        return partial(JobEnded, kind=self.kind), self.args


def printable(name: object) -> str:
    """A file name (or other outside text) fit for one line of a message.

    Control characters, line breaks and undecodable bytes are escaped, so a hostile name can
    neither break the sentence in two nor steer the terminal.
    """
    text = str(name)
    return "".join(
        character if character.isprintable() else character.encode("unicode_escape").decode("ascii")
        for character in text.encode("utf-8", "backslashreplace").decode("utf-8")
    )
