"""Deletion that really deletes: rows, results, and the original once no other job rests on it.

The job is first marked, then its bytes go, then its rows: a deletion that is killed half way is
finished by the next sweep.  SQLite overwrites what it deletes (secure_delete) and its log is cut
afterwards.  Overwriting a file's blocks would promise more than disks keep; see docs/desk/README.md
for what that leaves to those who run the desk.
"""

from __future__ import annotations

import shutil
import time
from pathlib import Path

from sqlalchemy import select, text, update

from spinlab.desk import jobs
from spinlab.desk.audit import record
from spinlab.desk.database import Database
from spinlab.desk.tables import job
from spinlab.desk.vault import Vault

ERASED = "erased.txt"
# What lies about for less than this may belong to someone who is at it right now.
_SETTLED_S = 600.0


def erase(
    database: Database, vault: Vault, job_id: str, *, account: str, address: str = ""
) -> bool:
    """Delete one job and all that was kept of it; False if there was none."""
    if not _mark(database, vault, job_id, account=account, address=address):
        return False
    _finish(database, vault, job_id)
    tidy_database(database)
    return True


def _mark(database: Database, vault: Vault, job_id: str, *, account: str, address: str) -> bool:
    with database.write() as connection:
        marked = connection.execute(
            update(job)
            .where(job.c.id == job_id)
            .values(
                state=jobs.ERASING, lease=None, case_id=None, search="", file_name="", reference=""
            )
        ).rowcount
        if not marked:
            return False
        record(connection, "deleted", account=account, subject=job_id, address=address)
    with (vault.folder / ERASED).open("a", encoding="ascii") as stream:
        stream.write(f"{job_id}\n")
    return True


def _finish(database: Database, vault: Vault, job_id: str) -> None:
    shutil.rmtree(vault.results(job_id), ignore_errors=True)
    with database.read() as connection:
        digest = connection.execute(select(job.c.sha256).where(job.c.id == job_id)).scalar()
    if digest is None:
        return
    with database.write() as connection:
        jobs.guard_original(connection, digest)
        others = select(job.c.id).where(
            (job.c.sha256 == digest) & (job.c.id != job_id) & (job.c.state != jobs.ERASING)
        )
        if connection.execute(others.limit(1)).first() is None:
            vault.original(digest).unlink(missing_ok=True)
        connection.execute(job.delete().where(job.c.id == job_id))


def sweep(database: Database, vault: Vault) -> int:
    """Delete what is due and finish what was begun; returns how many jobs went."""
    with database.read() as connection:
        begun = list(connection.scalars(select(job.c.id).where(job.c.state == jobs.ERASING)))
        due = list(
            connection.scalars(
                select(job.c.id).where(
                    (job.c.delete_after_s < time.time()) & (job.c.state != jobs.ERASING)
                )
            )
        )
    for job_id in due:
        _mark(database, vault, job_id, account="retention", address="")
    for job_id in (*begun, *due):
        _finish(database, vault, job_id)
    _sweep_results(database, vault)
    _sweep_originals(database, vault)
    # Though nothing was due: a deletion may have been killed just before this.
    tidy_database(database)
    return len(begun) + len(due)


def _sweep_results(database: Database, vault: Vault) -> None:
    """Remove results that no job points to: of workers that were killed, or came too late."""
    for folder in vault.result_folders():
        if not _settled(folder):
            continue
        with database.read() as connection:
            query = select(job.c.result, job.c.lease).where(job.c.id == folder.parent.name)
            row = connection.execute(query).first()
        if row is None or folder.name not in (row.result, row.lease):
            shutil.rmtree(folder, ignore_errors=True)


def _sweep_originals(database: Database, vault: Vault) -> None:
    """Remove originals that no job rests on: of an upload whose server was killed."""
    for path in vault.originals():
        if not _settled(path):
            continue
        with database.write() as connection:
            jobs.guard_original(connection, path.name)
            held = connection.execute(select(job.c.id).where(job.c.sha256 == path.name).limit(1))
            if held.first() is None:
                path.unlink(missing_ok=True)


def tidy_database(database: Database) -> None:
    """Let no deleted row linger in the index or the log (SQLite) or in the pages (PostgreSQL)."""
    with database.engine.connect() as connection:
        if database.embedded:
            raw = connection.connection.dbapi_connection
            assert raw is not None
            # FTS5 only marks what is deleted, until it puts its pieces together.
            raw.cursor().execute("INSERT INTO job_search (job_search) VALUES ('optimize')")
            raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
        else:
            plain = connection.execution_options(isolation_level="AUTOCOMMIT")
            for table in ("job", "finding", "note", "hand_back", "upload"):
                plain.execute(text(f"VACUUM {table}"))


def _settled(path: Path) -> bool:
    try:
        return path.stat().st_mtime < time.time() - _SETTLED_S
    except FileNotFoundError:
        return False
