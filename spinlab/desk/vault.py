"""The desk's folder: originals by their hash, results by job, uploads under way.

    desk.sqlite3                     the embedded database
    incoming/<upload>.part           an upload under way; its length is its offset
    originals/ab/<sha256>            a recording as it came, never changed
    results/<job>/<lease>/           what one worker made of it
    profiles/*.toml                  the operator's own machine profiles
    erased.txt                       ids of deleted jobs, for a backup that still holds them

No name in here comes from outside: every one is a hash or an identifier that was checked.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from spinlab.errors import OutputError

_IDENTIFIER = re.compile(r"[0-9a-f]{8}-?(?:[0-9a-f]{4}-?){3}[0-9a-f]{12}")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_BLOCK = 2**20


def is_identifier(text: str) -> bool:
    """Whether a text is a UUID in lower case, with or without hyphens."""
    return _IDENTIFIER.fullmatch(text) is not None


class Vault:
    """The files of one desk."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.absolute()
        try:
            for name in ("incoming", "originals", "results", "profiles"):
                (self.folder / name).mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise OutputError(
                f"The desk's folder {self.folder} cannot be used: {error.strerror}."
            ) from error

    def part(self, upload_id: str) -> Path:
        """Where an upload grows."""
        return self.folder / "incoming" / f"{_checked(upload_id)}.part"

    def original(self, digest: str) -> Path:
        """Where the original of that SHA-256 lies."""
        if not _DIGEST.fullmatch(digest):
            raise ValueError("not a SHA-256 in hexadecimal")
        return self.folder / "originals" / digest[:2] / digest

    def results(self, job_id: str, result: str = "") -> Path:
        """The folder of a job's results, or of one of them."""
        folder = self.folder / "results" / _checked(job_id)
        return folder / _checked(result) if result else folder

    def keep(self, part: Path, digest: str) -> None:
        """Give a settled upload its place among the originals; done twice it changes nothing."""
        target = self.original(digest)
        target.parent.mkdir(mode=0o700, exist_ok=True)
        with suppress(FileExistsError):
            os.link(part, target)
            os.chmod(target, 0o400)
        sync_folder(target.parent)

    def free_bytes(self) -> int:
        """Room left on the folder's disk."""
        return shutil.disk_usage(self.folder).free

    def parts(self) -> Iterator[Path]:
        """Every upload under way, with or without a row in the database."""
        yield from (self.folder / "incoming").glob("*.part")

    def originals(self) -> Iterator[Path]:
        """Every original."""
        yield from (self.folder / "originals").glob("*/*")

    def result_folders(self) -> Iterator[Path]:
        """Every folder of results of one lease."""
        yield from (self.folder / "results").glob("*/*")


def digest_of(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()


def sync_file(path: Path) -> None:
    """Make a file's content last through a power cut."""
    with path.open("rb") as stream:
        os.fsync(stream.fileno())


def sync_folder(folder: Path) -> None:
    """Make new names in a folder last through a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _checked(identifier: str) -> str:
    if not is_identifier(identifier):
        raise ValueError("not an identifier of this desk")
    return identifier
