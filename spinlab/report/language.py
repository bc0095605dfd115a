"""The language in which a report speaks: English unless another is asked for.

The language holds for the inside of a `with speaking(...)` block and for nothing else: it lives in
a context variable, so two threads of a server can report in two languages at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from spinlab.phrase import Phrase, said, say
from spinlab.report.typeset import typeset

ENGLISH = "en"
# Name of the catalogues, and where gettext keeps one below its language's folder.
DOMAIN = "spinlab"
_PLACE = f"LC_MESSAGES/{DOMAIN}.mo"
# What parts whole numbers from decimals (ISO 80000-1, 7.3.2, allows both marks).
_DECIMAL_MARKS = {"de": ","}


@dataclass(frozen=True, kw_only=True)
class Tongue:
    """One language: its code, its catalogue and its decimal mark."""

    code: str
    catalogue: NullTranslations
    decimal_mark: str

    def translate(self, pattern: str, plural: str, count: int | None) -> str:
        """A pattern in this language; the pattern itself where the catalogue lacks it."""
        if plural and count is not None:
            return self.catalogue.ngettext(pattern, plural, count)
        return self.catalogue.gettext(pattern)


def languages() -> tuple[str, ...]:
    """Codes of the languages that ship, English first."""
    found = [entry.name for entry in _home().iterdir() if (entry / _PLACE).is_file()]
    return (ENGLISH, *sorted(found))


def _home() -> Traversable:
    return resources.files("spinlab.report") / "languages"


def catalogues() -> AbstractContextManager[Path]:
    """The folder of all catalogues, laid out as gettext expects it."""
    return resources.as_file(_home())


@cache
def tongue(code: str) -> Tongue:
    """A language by its code.

    Raises:
        ValueError: there is no catalogue for it.
    """
    if code == ENGLISH:
        return Tongue(code=code, catalogue=NullTranslations(), decimal_mark=".")
    if code not in languages():
        raise ValueError(f"there is no catalogue for {code!r}; there are {', '.join(languages())}")
    with (_home() / code / _PLACE).open("rb") as stream:
        catalogue = GNUTranslations(stream)
    return Tongue(code=code, catalogue=catalogue, decimal_mark=_DECIMAL_MARKS.get(code, "."))


_current: ContextVar[Tongue | None] = ContextVar("language", default=None)


def current() -> Tongue:
    """The language of this context."""
    return _current.get() or tongue(ENGLISH)


@contextmanager
def speaking(code: str) -> Iterator[Tongue]:
    """Speak another language inside the block.

    Raises:
        ValueError: there is no catalogue for it.
    """
    token = _current.set(tongue(code))
    try:
        yield current()
    finally:
        _current.reset(token)


def tell(text: str, /, **parts: object) -> str:
    """A phrase, or a pattern with its parts, in the language of this context, with its signs set.

    >>> tell("{n:.1f} rpm", n=3.14159)
    '3.1 rpm'
    """
    phrase = say(text, **parts) if parts else text
    spoken = current()
    if spoken.code == ENGLISH:
        return typeset(str(phrase))
    return typeset(said(phrase, spoken.translate, decimal_mark=spoken.decimal_mark))


def tell_many(one: str, more: str, /, count: int, **parts: object) -> str:
    """The same for a sentence whose form depends on a count.

    >>> tell_many("{count} stage", "{count} stages", count=5)
    '5 stages'
    """
    phrase = Phrase(one, {"count": count, **parts}, plural=more)
    spoken = current()
    return typeset(said(phrase, spoken.translate, decimal_mark=spoken.decimal_mark))
