"""What a file holds, told by its first bytes and never by its name."""

from __future__ import annotations

import codecs
from pathlib import Path
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
    if not head:
        return "empty"
    if suits_libsndfile(head):
        return "binary"
    if any(head.startswith(mark) for mark, _ in _MARKS):
        return "text"
    controls = sum(byte < 32 and byte not in _TEXT_CONTROLS for byte in head)
    return "binary" if controls > len(head) // 1000 else "text"


# Openings of the files that libsndfile reads well.  Others are kept from it: its search for MP3
# frames in unknown bytes writes complaints straight to the terminal.
_LIBSNDFILE = (b"RIFF", b"RIFX", b"RF64", b"riff", b"FORM", b"fLaC", b"OggS", b"caff", b".snd")


def suits_libsndfile(head: bytes) -> bool:
    """Whether the first bytes open a WAV, W64, AIFF, FLAC, OGG, CAF or AU file."""
    return head.startswith(_LIBSNDFILE)


def lacks_ogg_end(path: Path) -> bool:
    """Whether an Ogg file stops without the page that marks its end (RFC 3533, section 6)."""
    with path.open("rb") as stream:
        if stream.read(4) != b"OggS":
            return False
        stream.seek(0, 2)
        stream.seek(max(0, stream.tell() - 2**17))
        tail = stream.read()
    page = tail.rfind(b"OggS")
    return page < 0 or len(tail) < page + 6 or not tail[page + 5] & 0x04
