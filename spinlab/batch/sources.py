"""Where the recordings of a batch come from: a folder with all below it, or a list of paths.

A folder's files are tried whatever their names, but for what is plainly something else (pictures,
documents, results, unfinished uploads, hidden files): a needless try costs one sentence, a
recording passed over could cost a drum.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from spinlab.batch.profiles import Chosen, Profiles
from spinlab.batch.tables import rows_of
from spinlab.errors import InputError, printable

PROFILES_FILE = "profiles.csv"
NO_RECORDINGS = (
    *(".toml", ".json", ".html", ".htm", ".md", ".pdf", ".log", ".sqlite", ".py", ".sh", ".url"),
    *(".lnk", ".ini", ".db", ".zip", ".gz", ".rar", ".7z", ".jpg", ".jpeg", ".png", ".gif"),
    *(".heic", ".webp", ".svg", ".doc", ".docx", ".xls", ".xlsx", ".odt", ".ods", ".ppt", ".pptx"),
    *(".part", ".partial", ".crdownload", ".download", ".filepart", ".tmp", ".temp", ".swp"),
    ".bak",
)


@dataclass(frozen=True, kw_only=True)
class Found:
    """One file to be checked.

    Attributes:
        path: absolute path.
        name: how it is shown: relative to the folder, or as the list gives it.
        stamp: size in bytes, and times of the last change of content and of the entry in ns; None
            where the file cannot be looked at.
        profile: the machine profile chosen for it.
    """

    path: Path
    name: str
    stamp: tuple[int, int, int] | None
    profile: Chosen | None

    @property
    def size_bytes(self) -> int:
        """Its size, 0 where unknown."""
        return self.stamp[0] if self.stamp is not None else 0


class Source(Protocol):
    """Something that can be asked, again and again, for the files that are there now."""

    def found(self) -> Iterator[Found]:
        """Every file, in an order that does not change.

        Raises:
            InputError: the folder or list cannot be read, or names a profile that is none.
        """


class Folder:
    """All recordings in a folder and below; `profiles.csv` in it may choose their profiles."""

    def __init__(self, folder: Path, *, never: Path, profiles: Profiles) -> None:
        self.folder = folder.absolute()
        self._never = Path(os.path.realpath(never))
        self._profiles = profiles

    def found(self) -> Iterator[Found]:
        """Every file but hidden ones, those that are plainly no recording, and our own results."""
        if not self.folder.is_dir():
            raise InputError(f"There is no folder {printable(self.folder)}.")
        table = self.folder / PROFILES_FILE
        profiles = self._profiles.with_rules(table) if table.is_file() else self._profiles
        for place, folders, files in os.walk(self.folder):
            here = Path(place)
            folders[:] = sorted(name for name in folders if self._enters(here, name))
            for name in sorted(files):
                path = here / name
                if not _may_be_recording(path) or path == table:
                    continue
                shown = path.relative_to(self.folder).as_posix()
                stamp = stamp_of(path)
                if stamp is not None:
                    yield Found(path=path, name=shown, stamp=stamp, profile=profiles.choose(shown))

    def _enters(self, here: Path, name: str) -> bool:
        return not name.startswith(".") and Path(os.path.realpath(here / name)) != self._never


class Listed:
    """The paths in a list: one a line, or a CSV table with the columns recording and machine."""

    def __init__(self, file: Path, *, profiles: Profiles) -> None:
        self.file = file.absolute()
        self._profiles = profiles

    def found(self) -> Iterator[Found]:
        """Every file named, once, in the list's order, whether it is there or not."""
        seen: set[Path] = set()
        for name, profile in self._entries():
            path = Path(os.path.normpath(self.file.parent / name))
            if path not in seen:
                seen.add(path)
                chosen = self._profiles.named(profile, beside=self.file)
                yield Found(path=path, name=name, stamp=stamp_of(path), profile=chosen)

    def _entries(self) -> Iterator[tuple[str, str]]:
        rows = rows_of(self.file)
        if rows is not None:
            yield from ((row.recording, row.machine) for row in rows)
            return
        for line in self.file.read_text(encoding="utf-8-sig").splitlines():
            if line.strip() and not line.startswith("#"):
                yield line.strip(), ""


def open_source(source: Path, *, out: Path, profiles: Profiles) -> Source:
    """A folder or a list as a `Source`.

    Raises:
        InputError: it is neither.
    """
    if source.is_dir():
        if Path(os.path.realpath(source)) == Path(os.path.realpath(out)):
            raise InputError("Results cannot go among the recordings: name another --out folder.")
        return Folder(source, never=out, profiles=profiles)
    if source.is_file():
        return Listed(source, profiles=profiles)
    raise InputError(f"There is no folder or list {printable(source)}.")


def stamp_of(path: Path) -> tuple[int, int, int] | None:
    """Size and times of an ordinary file; None where there is none."""
    try:
        seen = path.stat()
    except (OSError, ValueError):
        return None
    if not stat.S_ISREG(seen.st_mode):
        return None
    return seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns


def _may_be_recording(path: Path) -> bool:
    return not path.name.startswith((".", "~$")) and path.suffix.lower() not in NO_RECORDINGS
