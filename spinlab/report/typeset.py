"""Sentences as a printer sets them: signs instead of what a keyboard has, and lines well broken.

Findings are written with "+-", "x", "-" and "5%", which every file and log can hold.  Readers of a
report see "±", "×", "−", "–" and "5 %" (ISO 80000-1, 7.1.4 and 7.3), and no number is parted from
its unit or its uncertainty by the end of a line.
"""

from __future__ import annotations

import re
import textwrap

WIDTH = 80

_UNITS = (
    "mm/s|m/s²|rpm/s|rpm|kHz|Hz|dB|%|ms|min|mm|µm|s|V|A|W|Ω|N m|°C|times|turns|harmonics|"
    "U/min|Umdrehungen"
)
_SIGNS = (
    (re.compile(r"\+-(?= ?\d)"), "±"),
    (re.compile(r"(?<=[\d)]) x (?=[\w(])"), " × "),
    # Between digits with a unit behind, and nowhere else: dates and designations keep their hyphen.
    (
        re.compile(r"(?<![\w.,-])(\d+(?:[.,]\d+)?)-(?=\d+(?:[.,]\d+)? (?:k?Hz|rpm|s|ms|dB)\b)"),
        r"\1–",
    ),
    # No number is less than nothing by nothing.
    (re.compile(r"(?<![\w.,)\]-])-(?=0(?:[.,]0+)?(?![\d.,]*[1-9]))"), ""),
    (re.compile(r"(?<![\w.,)\]-])-(?=\d)"), "−"),
    (re.compile(r"(?<=\d)%"), " %"),
)
_BONDS = (
    (re.compile(r" ± (?=[\d?])"), "\u00a0±\u00a0"),
    (re.compile(rf"(?<=[\d?]) (?=(?:{_UNITS})(?![\w/]))"), "\u00a0"),
    (re.compile(r"(?<=[\d)]) × (?=[\w(])"), "\u00a0×\u00a0"),
    (re.compile(r"(?<=\d) (?=\d{3}(?!\d))"), "\u00a0"),
    (re.compile(r"(?<=\d)–(?=\d)"), "–\u2060"),
)


# What a terminal is spared: a space that holds, and a joiner without width.
_UNBOUND = {0xA0: " ", 0x2060: None}


def typeset(text: str) -> str:
    """A sentence with a printer's signs; what has them already stays as it is.

    >>> typeset("changes by -0.00 +- 0.36 %, order 2 x shaft at -3.2 dB, in 11% of 2-6 Hz")
    'changes by 0.00 ± 0.36 %, order 2 × shaft at −3.2 dB, in 11 % of 2–6 Hz'
    >>> typeset("bearing 6205-2RS of 2026-11-25, see take-2.wav")
    'bearing 6205-2RS of 2026-11-25, see take-2.wav'
    """
    for pattern, sign in _SIGNS:
        text = pattern.sub(sign, text)
    return text


def bound(text: str) -> str:
    """The same words with spaces that no line ends at, between a number and what belongs to it.

    >>> bound("down by 12 ± 9 dB now").split(" ")
    ['down', 'by', '12\\xa0±\\xa09\\xa0dB', 'now']
    """
    for pattern, bond in _BONDS:
        text = pattern.sub(bond, text)
    return text


def wrapped(text: str, *, first: str = "", rest: str | None = None) -> list[str]:
    """Lines of at most 80 characters, none of which ends amid a quantity.

    Args:
        text: one paragraph.
        first, rest: what stands before the first and the further lines; `rest` is as much empty
            room as `first` takes unless it is given.

    >>> wrapped("x" * 70 + " by 12 ± 9 dB")[1]
    '12 ± 9 dB'
    """
    lines = textwrap.wrap(
        bound(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
    )
    return [line.translate(_UNBOUND) for line in lines]
