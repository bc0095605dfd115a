"""A sentence that remembers its pattern and its parts, so that it can be said in another language.

Findings, remarks and reasons are written as English sentences with numbers in them.  `say` keeps
the pattern and the numbers beside the finished sentence: to everything else a `Phrase` is an
ordinary string, and the report alone looks the pattern up in the language that is wanted
(GNU gettext's way of keeping the source text as the message's name).
"""

from __future__ import annotations

import string
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Literal

# How one pattern is said in another language; the plural's pattern and count where there are two.
Translate = Callable[[str, str, int | None], str]
Shape = Literal["", "sentence", "clause", "begin"]


class Phrase(str):
    """A finished English sentence together with the pattern and the parts it was made from.

    Attributes:
        pattern: with named fields as `str.format` has them.
        plural: the pattern for any count but one, "" where the sentence has no count.
        parts: name -> number or text; text may be a phrase again.
        shape: "sentence" begins with a capital and ends with a stop, "clause" has no stop at its
            end, "begin" has a capital and no more, "" is as it stands.
    """

    pattern: str
    plural: str
    parts: Mapping[str, Any]
    shape: Shape

    def __new__(
        cls, pattern: str, parts: Mapping[str, Any], *, plural: str = "", shape: Shape = ""
    ) -> Phrase:
        """Make the English sentence."""
        made = super().__new__(cls, _filled(pattern, plural, parts, shape, _english, "."))
        made.pattern, made.plural, made.parts, made.shape = pattern, plural, dict(parts), shape
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, (self.pattern, dict(self.parts), self.plural, self.shape)

    def __add__(self, other: str) -> Phrase:
        return join("", [self, other])

    def __radd__(self, other: str) -> Phrase:
        return join("", [other, self])


def _again(pattern: str, parts: Mapping[str, Any], plural: str, shape: Shape) -> Phrase:
    return Phrase(pattern, parts, plural=plural, shape=shape)


def say(pattern: str, /, **parts: Any) -> Phrase:
    """A sentence, or a part of one.

    >>> say("off by {off:+.1f} rpm at {where}", off=-3.24, where=say("the top stage"))
    'off by -3.2 rpm at the top stage'
    """
    return Phrase(pattern, parts)


def many(one: str, more: str, /, count: int, **parts: Any) -> Phrase:
    """A sentence whose form depends on a count, which its patterns may use as `{count}`.

    >>> many("{count} ramp was given up", "{count} ramps were given up", count=2)
    '2 ramps were given up'
    """
    return Phrase(one, {"count": count, **parts}, plural=more)


def join(separator: str, phrases: Iterable[str]) -> Phrase:
    """Phrases one after the other, as one phrase; the separator has no words in it.

    >>> join("; ", [say("belt"), say("motor")])
    'belt; motor'
    """
    parts = {f"part{index}": phrase for index, phrase in enumerate(phrases)}
    return Phrase(separator.join(f"{{{name}}}" for name in parts), parts)


def listed(phrases: Iterable[str]) -> Phrase:
    """Phrases as a person would list them.

    >>> listed(["inner race", "outer race", "ball"])
    'inner race, outer race and ball'
    """
    every = list(phrases)
    if len(every) < 2:
        return join("", every)
    return say("{first} and {last}", first=join(", ", every[:-1]), last=every[-1])


def sentence(phrase: str) -> Phrase:
    """A phrase as a sentence of its own, in any language.

    >>> sentence(say("no half order stands out"))
    'No half order stands out.'
    """
    return Phrase("{words}", {"words": phrase}, shape="sentence")


def clause(phrase: str) -> Phrase:
    """A phrase without a stop at its end, to stand inside a longer sentence.

    >>> clause("No half order stands out.")
    'No half order stands out'
    """
    return Phrase("{words}", {"words": phrase}, shape="clause")


def said(text: str, translate: Translate, *, decimal_mark: str = ".") -> str:
    """A text in another language: its pattern translated, its parts put in again.

    Args:
        text: a phrase, or plain text, which is looked up as it stands.
        translate: (pattern, plural pattern, count or None) -> pattern in that language.
        decimal_mark: what parts whole numbers from their decimals.

    >>> said(say("{n:.1f} times", n=2.5), lambda *_: "{n:.1f} mal", decimal_mark=",")
    '2,5 mal'
    """
    if not isinstance(text, Phrase):
        return translate(text, "", None) if text.strip() else text
    parts = {
        name: said(part, translate, decimal_mark=decimal_mark) if isinstance(part, str) else part
        for name, part in text.parts.items()
    }
    return _filled(text.pattern, text.plural, parts, text.shape, translate, decimal_mark)


def _english(pattern: str, plural: str, count: int | None) -> str:
    return plural if plural and count != 1 else pattern


def _filled(
    pattern: str,
    plural: str,
    parts: Mapping[str, Any],
    shape: Shape,
    translate: Translate,
    decimal_mark: str,
) -> str:
    words = pattern
    if has_words(pattern):
        words = translate(pattern, plural, parts.get("count") if plural else None)
    text = _Filler(decimal_mark).vformat(words, (), parts)
    if not shape or not text.strip():
        return text
    if shape == "begin":
        return text[0].upper() + text[1:]
    text = text.strip().rstrip(".")
    if shape == "clause":
        return text
    return text[0].upper() + text[1:] + ("" if text[-1] in "?!" else ".")


def has_words(pattern: str) -> bool:
    """Whether a pattern holds anything to translate beside its fields.

    >>> has_words("{a}; {b}"), has_words("{a} and {b}")
    (False, True)
    """
    words = (words for words, _, _, _ in string.Formatter().parse(pattern))
    return any(letter.isalpha() for part in words for letter in part)


class _Filler(string.Formatter):
    """`str.format` with another decimal mark in numbers."""

    def __init__(self, decimal_mark: str) -> None:
        self._decimal_mark = decimal_mark

    def format_field(self, value: Any, format_spec: str) -> str:
        text = str(super().format_field(value, format_spec))
        return text if isinstance(value, str) else text.replace(".", self._decimal_mark)
