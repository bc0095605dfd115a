"""What a file holds, told by its first bytes and never by its name."""

from __future__ import annotations

import codecs
from typing import Literal

Content = Literal["empty", "text", "binary"]

SNIFFED_BYTES = 64 * 1024
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# Control bytes that turn up in honest text: tab, line feed, form feed, carriage return, escape.
_TEXT_CONTROLS = frozenset(b"\t\n\f\r\x1b")


def text_encoding(head: bytes) -> str:
    """The encoding that the first bytes show: by byte-order mark, else UTF-8, else Latin-1."""
    for mark, name in _MARKS:
        if head.startswith(mark):
            return name
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head, final=False)
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def content_of(head: bytes) -> Content:
    """Whether the first bytes are text or binary."""
    if not head.strip(b"\0"):
        return "empty" if not head else "binary"
    if any(head.startswith(mark) for mark, _ in _MARKS):
        return "text"
    controls = sum(byte < 32 and byte not in _TEXT_CONTROLS for byte in head)
    return "binary" if controls > len(head) // 1000 else "text"
