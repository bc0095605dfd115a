"""Uploads in parts that survive a broken connection, a killed server and a repeated request.

The sender chooses the upload's identifier (a UUID), so every request may be repeated: announcing
twice announces once, a part that starts elsewhere than at the end is refused with the true offset,
and an upload that was finished twice is one job, under the upload's own identifier.
"""

from __future__ import annotations

import asyncio
import fcntl
import os
import time
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from sqlalchemy import Connection, Row, func, select

from spinlab.desk.accounts import Person
from spinlab.desk.audit import record
from spinlab.desk.database import Database
from spinlab.desk.jobs import add_job, guard_original
from spinlab.desk.settings import Settings
from spinlab.desk.tables import job, upload
from spinlab.desk.vault import Vault, digest_of, sync_file

# The wording that was agreed to, by its date; kept with the job.
CONSENT = "2026-11-25"
CONSENT_SENTENCE = (
    "The people who can be heard know that this is recorded, and agree that support listens to it "
    "and keeps it until it is deleted after {days:.0f} days."
)

_NO_UPLOAD = "There is no such upload."
_GATHERED_BYTES = 2**20
# However many uploads there are, they hold so many threads: each can keep a core busy, and with
# more of them than cores the loop that answers pages waits for its turn.
_THREADS = min(8, max(2, os.cpu_count() or 2))

Answer = TypeVar("Answer")


class Refused(Exception):
    """A request cannot be granted: a status of HTTP and one sentence."""

    def __init__(self, status: int, sentence: str, *, offset: int | None = None) -> None:
        super().__init__(sentence)
        self.status, self.sentence, self.offset = status, sentence, offset


@dataclass(frozen=True, kw_only=True)
class Announcement:
    """What a technician says about a recording before sending it."""

    size_bytes: int
    file_name: str
    reference: str
    profile: str
    readings: str


class Intake:
    """Takes uploads into the vault."""

    def __init__(self, settings: Settings, database: Database, vault: Vault) -> None:
        self.settings, self.database, self.vault = settings, database, vault
        self._threads = ThreadPoolExecutor(_THREADS, "upload")

    async def aside(
        self, function: Callable[..., Answer], *arguments: Any, **options: Any
    ) -> Answer:
        """Run what an upload waits for, the disk or its turn to write, in threads kept for that."""
        call = partial(function, *arguments, **options)
        return await asyncio.get_running_loop().run_in_executor(self._threads, call)

    def announce(self, person: Person, upload_id: str, told: Announcement) -> int:
        """Begin an upload, or find one begun before; returns its offset in bytes.

        Raises:
            Refused: too large, too many at once, no room, or the identifier is someone else's.
        """
        self._check_size(told.size_bytes)
        with self.database.write() as connection:
            if self._job(connection, person, upload_id) is not None:
                return told.size_bytes
            row = self._row(connection, person, upload_id, missing_ok=True)
            if row is None:
                self._check_room(connection, person, told.size_bytes)
                connection.execute(
                    upload.insert().values(
                        id=upload_id,
                        account_id=person.id,
                        consent=CONSENT,
                        created_s=time.time(),
                        **told.__dict__,
                    )
                )
            elif row.size_bytes != told.size_bytes:
                raise Refused(409, "This upload was begun with another size; begin a new one.")
        return self._offset(upload_id)

    def progress(self, person: Person, upload_id: str) -> tuple[int, int]:
        """(offset, size) in bytes of an upload, under way or finished."""
        with self.database.read() as connection:
            row = self._row(connection, person, upload_id, missing_ok=True)
            done = None if row is not None else self._job(connection, person, upload_id)
        if done is not None:
            return done.size_bytes, done.size_bytes
        if row is None:
            raise Refused(404, _NO_UPLOAD)
        return self._offset(upload_id), row.size_bytes

    async def append(
        self, size: int, upload_id: str, offset: int, body: AsyncIterator[bytes]
    ) -> int:
        """Write one part at `offset`, which must be the end; returns the new offset.

        What arrived before a connection broke is kept.

        Raises:
            Refused: the part starts elsewhere, is written to by another request, or is too much.
        """
        handle = os.open(self.vault.part(upload_id), os.O_WRONLY | os.O_CREAT, 0o600)
        try:
            _lock(handle)
            end = os.fstat(handle).st_size
            if offset != end:
                raise Refused(409, "The part starts elsewhere than the upload ends.", offset=end)
            os.lseek(handle, end, os.SEEK_SET)
            # Gathered and written aside, so that a slow disk holds up nobody else's page.
            gathered = bytearray()
            try:
                async for block in body:
                    if end + len(gathered) + len(block) > size:
                        raise Refused(413, "More bytes came than were announced.", offset=end)
                    gathered += block
                    if len(gathered) >= _GATHERED_BYTES:
                        end += await self.aside(_write, handle, bytes(gathered))
                        gathered.clear()
            finally:
                end += await self.aside(_write, handle, bytes(gathered))
            return end
        finally:
            os.close(handle)

    def finish(self, person: Person, upload_id: str, *, sha256: str = "", address: str = "") -> str:
        """Turn a complete upload into a job; returns the job's identifier, which is the upload's.

        Raises:
            Refused: bytes are missing, or they are not those whose SHA-256 was stated.
        """
        with self.database.read() as connection:
            if self._job(connection, person, upload_id) is not None:
                self._tidy(upload_id)
                return upload_id
            row = self._row(connection, person, upload_id)
        part = self.vault.part(upload_id)
        offset = self._offset(upload_id)
        if offset != row.size_bytes:
            raise Refused(409, "The upload is not complete.", offset=offset)
        digest = digest_of(part)
        # Before the change, as in SQLite all others wait for one that is under way.
        sync_file(part)
        if sha256 and sha256.lower() != digest:
            self.abandon(person, upload_id)
            raise Refused(422, "The bytes that came are not those that were sent; send it again.")
        self._make_job(person, row, digest, address)
        self._tidy(upload_id)
        return upload_id

    def abandon(self, person: Person, upload_id: str) -> None:
        """Throw an unfinished upload away."""
        with self.database.write() as connection:
            self._row(connection, person, upload_id)
            connection.execute(upload.delete().where(upload.c.id == upload_id))
        self._tidy(upload_id)

    def _make_job(self, person: Person, row: Row[Any], digest: str, address: str) -> None:
        with self.database.write() as connection:
            # Held until the change is done, so that nobody deletes the same bytes meanwhile.
            guard_original(connection, digest)
            if self._job(connection, person, row.id) is not None:
                return
            self.vault.keep(self.vault.part(row.id), digest)
            add_job(connection, row, person, digest, self.settings)
            connection.execute(upload.delete().where(upload.c.id == row.id))
            record(connection, "uploaded", account=person.id, subject=row.id, address=address)

    def sweep(self) -> None:
        """Throw away uploads that nobody went on with, and bytes without an upload."""
        oldest = time.time() - self.settings.upload_hours * 3600.0
        with self.database.write() as connection:
            connection.execute(upload.delete().where(upload.c.created_s < oldest))
            kept = set(connection.scalars(select(upload.c.id)))
        for part in self.vault.parts():
            # A part may be a moment older than what was read of the table.
            if part.stem not in kept and part.stat().st_mtime < time.time() - 600.0:
                part.unlink(missing_ok=True)

    def _check_size(self, size: int) -> None:
        most = self.settings.max_upload_bytes
        if not 0 < size <= most:
            raise Refused(413, f"The file must hold 1 byte to {most // 2**20} MiB.")

    def _check_room(self, connection: Connection, person: Person, size: int) -> None:
        mine = select(func.count()).select_from(upload).where(upload.c.account_id == person.id)
        if connection.execute(mine).scalar_one() >= self.settings.open_uploads:
            raise Refused(429, "Too many unfinished uploads; finish or discard one first.")
        if self.vault.free_bytes() - size < self.settings.spare_bytes:
            raise Refused(507, "The desk has no room left; tell those who run it.")

    def _row(
        self, connection: Connection, person: Person, upload_id: str, *, missing_ok: bool = False
    ) -> Any:
        row = connection.execute(select(upload).where(upload.c.id == upload_id)).first()
        if (row is None and not missing_ok) or (row is not None and row.account_id != person.id):
            raise Refused(404, _NO_UPLOAD)
        return row

    def _job(self, connection: Connection, person: Person, upload_id: str) -> Any:
        row = connection.execute(
            select(job.c.account_id, job.c.size_bytes).where(job.c.id == upload_id)
        ).first()
        if row is not None and row.account_id != person.id:
            raise Refused(404, _NO_UPLOAD)
        return row

    def _offset(self, upload_id: str) -> int:
        try:
            return self.vault.part(upload_id).stat().st_size
        except FileNotFoundError:
            return 0

    def _tidy(self, upload_id: str) -> None:
        with suppress(OSError):
            self.vault.part(upload_id).unlink()


def _lock(handle: int) -> None:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise Refused(423, "Another part of this upload is still arriving.") from error


def _write(handle: int, block: bytes) -> int:
    written = 0
    while written < len(block):
        written += os.write(handle, block[written:])
    return written
