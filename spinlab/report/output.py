"""Writing results: whole or not at all, and never over the recording itself."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from spinlab.errors import OutputError, printable
from spinlab.phrase import Phrase, say


def check_writable(targets: Iterable[Path], *, never: Iterable[Path] = ()) -> None:
    """Make sure, before hours of work, that every result will find a place.

    Args:
        targets: files that are going to be written.
        never: files that must not be written to, such as the recording.

    Raises:
        OutputError: a target is a folder, lies in no writable folder, is write-protected, or is
            one of `never`.
    """
    kept = [path for path in never if path.exists()]
    for target in targets:
        if any(target.exists() and target.samefile(path) for path in kept):
            raise OutputError(
                say(
                    "{target} is what is to be checked, and is never written over; choose "
                    "another name.",
                    target=printable(target),
                )
            )
        _probe(target)


def write_whole(target: Path, content: bytes) -> None:
    """Write `content` to `target` in one step: a reader sees the old file or the new one.

    The bytes go to a temporary file in the same folder, which then takes the target's name.
    Devices and pipes are written to directly.

    Raises:
        OutputError: the file cannot be written; nothing is left behind.
    """
    try:
        if target.exists() and not target.is_file():
            _probe(target)
            target.write_bytes(content)
            return
        _replace(Path(os.path.realpath(target)), (content,))
    except OSError as error:
        raise OutputError(_cannot(target, error.strerror or str(error))) from error


def write_pieces(target: Path, pieces: Iterable[bytes]) -> None:
    """As `write_whole`, for content that comes piece by piece and need not fit into memory.

    Raises:
        OutputError: the file cannot be written; nothing is left behind.
    """
    try:
        _replace(Path(os.path.realpath(target)), pieces)
    except OSError as error:
        raise OutputError(_cannot(target, error.strerror or str(error))) from error


def _replace(target: Path, pieces: Iterable[bytes]) -> None:
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=".spinlab-", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.writelines(pieces)
            stream.flush()
            # Without this a power cut may keep the name and lose the content.
            os.fsync(stream.fileno())
        os.chmod(name, _mode(target))
        os.replace(name, target)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise


def _mode(target: Path) -> int:
    """Permissions of the file replaced, or those that an ordinary new file would get."""
    if target.exists():
        return stat.S_IMODE(target.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _probe(target: Path) -> None:
    try:
        if target.is_dir():
            raise OutputError(_cannot(target, say("it is a folder; name a file")))
        if target.exists():
            if not os.access(target, os.W_OK):
                raise OutputError(_cannot(target, say("it is write-protected")))
            if not target.is_file():
                return
        folder = Path(os.path.realpath(target)).parent
        if not folder.is_dir():
            raise OutputError(
                _cannot(target, say("there is no folder {folder}", folder=printable(folder)))
            )
        handle, name = tempfile.mkstemp(dir=folder, prefix=".spinlab-", suffix=".part")
        os.close(handle)
        os.unlink(name)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(_cannot(target, reason)) from error


def _cannot(target: Path, reason: str) -> str:
    why = reason if isinstance(reason, Phrase) else printable(reason)
    return say("{target} cannot be written: {reason}.", target=printable(target), reason=why)
