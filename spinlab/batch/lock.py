"""One batch at a time in a folder; the lock goes with its process, however that ends."""

from __future__ import annotations

import sys
from pathlib import Path
from types import TracebackType
from typing import IO

from spinlab.errors import OutputError, printable

FILE = "batch.lock"


class FolderLock:
    """Held from `with` to its end.

    Raises:
        OutputError: another batch is at work in the folder, or the folder cannot be written to.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._file: IO[bytes] | None = None

    def __enter__(self) -> FolderLock:
        name = printable(self._folder)
        try:
            self._file = (self._folder / FILE).open("ab")
        except OSError as error:
            raise OutputError(f"{name} cannot be written to: {error.strerror}.") from error
        try:
            _lock(self._file)
        except OSError as error:
            self._file.close()
            raise OutputError(
                f"Another batch is at work in {name}; wait for it, or name another folder."
            ) from error
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._file is not None:
            self._file.close()


def _lock(file: IO[bytes]) -> None:
    if sys.platform == "win32":
        import msvcrt

        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
