"""Backup into one tar file and restore from it, for either kind of database.

    manifest.json            format, form of the tables, rows per table, SHA-256 of every file
    tables/<table>.jsonl     one row a line
    originals/.. results/..  the files
    profiles/..              the operator's own machine profiles

The tables are read at one moment.  Files never change once they are written, so they may follow;
one that was deleted meanwhile was deleted on purpose.  Sign-ins and unfinished uploads stay behind.
Since rows are plain text, a backup of SQLite restores into PostgreSQL.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import tarfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from sqlalchemy import Connection, MetaData, func, inspect, select

from spinlab.desk.database import Database
from spinlab.desk.erasure import ERASED, erase
from spinlab.desk.settings import Settings
from spinlab.desk.tables import metadata
from spinlab.desk.vault import Vault
from spinlab.errors import InputError, OutputError

FORMAT = "spinlab.desk.backup"
VERSION = 1
# Who is signed in, and bytes of half an upload, are worth nothing later.
_LEFT_OUT = ("session", "upload")
_ROWS_AT_ONCE = 1000
_FOLDERS = ("originals", "results", "profiles")


def back_up(settings: Settings, target: Path) -> dict[str, int]:
    """Write a backup; a reader sees it whole or not at all.

    Returns:
        How many rows of each table, and files, it holds.

    Raises:
        OutputError: it cannot be written.
    """
    part = target.with_name(f".{target.name}.part")
    database, vault = Database(settings), Vault(settings.folder)
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as stream:
            counts = _write(database, vault, stream)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(part, target)
    except OSError as error:
        raise OutputError(f"{target} cannot be written: {error.strerror or error}.") from error
    finally:
        part.unlink(missing_ok=True)
        database.close()
    return counts


def _write(database: Database, vault: Vault, stream: IO[bytes]) -> dict[str, int]:
    revision = database.revision()
    counts: dict[str, int] = {}
    digests: dict[str, str] = {}
    with tarfile.open(fileobj=stream, mode="w") as tar:
        with database.read() as connection:
            for name, lines in _tables(connection):
                content = b"".join(lines)
                counts[name] = content.count(b"\n")
                _add(tar, digests, f"tables/{name}.jsonl", io.BytesIO(content), len(content))
        for path in _files(vault):
            name = path.relative_to(vault.folder).as_posix()
            try:
                with path.open("rb") as file:
                    _add(tar, digests, name, file, os.fstat(file.fileno()).st_size)
            except FileNotFoundError:
                continue
        counts["files"] = len(digests) - len(metadata.sorted_tables) + len(_LEFT_OUT)
        told = {
            "format": FORMAT,
            "version": VERSION,
            "revision": revision,
            "made_s": time.time(),
            "counts": counts,
            "sha256": digests,
        }
        content = json.dumps(told).encode("utf-8")
        _add(tar, {}, "manifest.json", io.BytesIO(content), len(content))
    return counts


def _tables(connection: Connection) -> Iterator[tuple[str, list[bytes]]]:
    for table in metadata.sorted_tables:
        if table.name in _LEFT_OUT:
            continue
        rows = connection.execute(select(table)).mappings()
        yield table.name, [json.dumps(dict(row)).encode("utf-8") + b"\n" for row in rows]


def _files(vault: Vault) -> Iterator[Path]:
    for name in _FOLDERS:
        yield from sorted(path for path in (vault.folder / name).rglob("*") if path.is_file())


class _Hashing:
    """A stream that hashes what is read from it."""

    def __init__(self, stream: IO[bytes]) -> None:
        self.stream, self.digest = stream, hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        block = self.stream.read(size)
        self.digest.update(block)
        return block


def _add(
    tar: tarfile.TarFile, digests: dict[str, str], name: str, stream: IO[bytes], size: int
) -> None:
    entry = tarfile.TarInfo(name)
    entry.size, entry.mtime, entry.mode = size, int(time.time()), 0o600
    hashing: Any = _Hashing(stream)
    tar.addfile(entry, hashing)
    digests[name] = hashing.digest.hexdigest()


def restore(settings: Settings, source: Path, *, erased: Path | None = None) -> dict[str, int]:
    """Make a desk anew from a backup, in an empty folder and an empty database.

    Args:
        settings: of the desk to be made.
        source: the backup.
        erased: list of jobs deleted since (`erased.txt` of the desk that was); they are deleted
            again.

    Raises:
        InputError: the backup is damaged or of another format, or there is a desk already.
    """
    gone = erased.read_text("ascii").split() if erased is not None else []
    database, vault = Database(settings), Vault(settings.folder)
    try:
        if inspect(database.engine).get_table_names() or any(vault.originals()):
            raise InputError("There is a desk already; restore into an empty folder and database.")
        counts = _read(database, vault, source)
        for job_id in gone:
            erase(database, vault, job_id, account="restore")
    except (tarfile.TarError, KeyError, ValueError, OSError) as error:
        raise InputError(f"{source} is no backup that can be read: {error}.") from error
    finally:
        database.close()
    return counts


def _read(database: Database, vault: Vault, source: Path) -> dict[str, int]:
    with tarfile.open(source) as tar:
        manifest = json.load(_member(tar, "manifest.json"))
        if (manifest["format"], manifest["version"]) != (FORMAT, VERSION):
            raise InputError(f"{source} is of another format; restore it with its own spinlab.")
        digests = manifest["sha256"]
        for name, digest in digests.items():
            if not name.startswith("tables/"):
                _unpack(tar, name, digest, vault.folder)
        database.migrate(manifest["revision"])
        with database.write() as connection:
            _fill(connection, tar, digests)
    database.migrate()
    counts: dict[str, int] = manifest["counts"]
    return counts


def _member(tar: tarfile.TarFile, name: str) -> IO[bytes]:
    stream = tar.extractfile(name)
    if stream is None:
        raise InputError(f"The backup lacks {name}.")
    return stream


def _unpack(tar: tarfile.TarFile, name: str, digest: str, folder: Path) -> None:
    target = (folder / name).resolve()
    if not any(target.is_relative_to(folder.resolve() / inside) for inside in _FOLDERS):
        raise InputError(f"The backup names a file outside the desk's folder: {name!r}.")
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    hashing = _Hashing(_member(tar, name))
    handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o400)
    with os.fdopen(handle, "wb") as out:
        while block := hashing.read(2**20):
            out.write(block)
        out.flush()
        os.fsync(out.fileno())
    if hashing.digest.hexdigest() != digest:
        raise InputError(f"The backup is damaged: {name} is not what was backed up.")


def _fill(connection: Connection, tar: tarfile.TarFile, digests: dict[str, str]) -> None:
    """Insert the rows into tables of the form that they were backed up from."""
    form = MetaData()
    # Named, as SQLite's own tables of an index are none of ours.
    form.reflect(connection, only=lambda name, _: f"tables/{name}.jsonl" in digests)
    for table in form.sorted_tables:
        name = f"tables/{table.name}.jsonl"
        content = _member(tar, name).read()
        if hashlib.sha256(content).hexdigest() != digests[name]:
            raise InputError(f"The backup is damaged: {name} is not what was backed up.")
        rows = [json.loads(line) for line in content.splitlines()]
        for first in range(0, len(rows), _ROWS_AT_ONCE):
            connection.execute(table.insert(), rows[first : first + _ROWS_AT_ONCE])
        _count_on(connection, table.name, rows)


def _count_on(connection: Connection, table: str, rows: list[dict[str, Any]]) -> None:
    """PostgreSQL counts rows up from a sequence, which knows nothing of rows that were put in."""
    counted = metadata.tables[table].autoincrement_column if table in metadata.tables else None
    if connection.dialect.name == "postgresql" and rows and counted is not None:
        sequence = func.pg_get_serial_sequence(table, counted.name)
        connection.execute(select(func.setval(sequence, max(row["id"] for row in rows))))


def erased_list(settings: Settings) -> Path:
    """Where a desk keeps the identifiers of jobs that were deleted."""
    return settings.folder / ERASED
