"""How grave each outcome is: the order of the index, and the exit code of the whole batch."""

from __future__ import annotations

from collections.abc import Iterable

# The gravest first, each with the exit code that it gives a batch.  What needs a hand on a machine
# comes before what needs a look at spinlab or another recording, and that before what is fine.
_FAILED_BY_US = 70
_FAILED_BY_FILE = 20
EXIT_CODES = {
    "fault": 11,
    "attention": 10,
    "defect": _FAILED_BY_US,
    "crash": _FAILED_BY_US,
    "killed": _FAILED_BY_US,
    "unreadable": _FAILED_BY_FILE,
    "unusable": _FAILED_BY_FILE,
    "changing": _FAILED_BY_FILE,
    "timeout": _FAILED_BY_FILE,
    "cpu": _FAILED_BY_FILE,
    "memory": _FAILED_BY_FILE,
    "not measurable": 12,
    "clear": 0,
}
# Ways in which a recording was not checked at all.
FAILURES = tuple(kind for kind, code in EXIT_CODES.items() if code in (70, 20))

_ORDER = (11, 10, _FAILED_BY_US, _FAILED_BY_FILE, 12, 0)
_FINE = _ORDER.index(0)


def rank(outcome: str) -> int:
    """Place in the order of severity, 0 the gravest; outcomes of one exit code share a place.

    >>> rank("fault") < rank("attention") < rank("unreadable") < rank("clear")
    True
    """
    return _ORDER.index(EXIT_CODES[outcome])


def exit_code(ranks: Iterable[int]) -> int:
    """The exit code of a batch: that of the gravest outcome among its files.

    >>> exit_code([rank("clear"), rank("unreadable"), rank("attention")])
    10
    """
    return _ORDER[min(ranks, default=_FINE)]
