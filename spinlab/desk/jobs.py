"""Jobs: from an upload to a result, at least once, and counted once.

A worker claims a job under a lease with a fresh random name and renews it while it works.  A
worker that dies lets its lease run out, and the next one begins anew.  Whoever finishes must still
hold the lease: of two workers that both got to the end, the database takes one.
"""

from __future__ import annotations

import time
import zlib
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, delete, func, select, update

from spinlab.desk.accounts import Person
from spinlab.desk.identity import new_id
from spinlab.desk.settings import DAY_S, Settings
from spinlab.desk.tables import finding, job

WAITING, RUNNING, DONE, FAILED, ERASING = "waiting", "running", "done", "failed", "erasing"
SEVERITY = {"clear": 0, "not measurable": 1, "attention": 2, "fault": 3}


@dataclass(frozen=True, kw_only=True)
class Claim:
    """One worker's right to one job."""

    job_id: str
    lease: str
    sha256: str
    profile: str
    readings: str
    file_name: str
    attempt: int


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What an analysis told, as far as the tables keep it."""

    verdict_state: str
    verdict_sentence: str
    software: str
    findings: tuple[dict[str, Any], ...] = ()


def add_job(
    connection: Connection, row: Row[Any], person: Person, digest: str, settings: Settings
) -> None:
    """Make a job of a finished upload, under the upload's identifier."""
    now = time.time()
    told = (row.reference, row.file_name, person.name, row.profile)
    connection.execute(
        job.insert().values(
            id=row.id,
            account_id=person.id,
            reference=row.reference,
            file_name=row.file_name,
            search=" ".join(told).lower()[:512],
            size_bytes=row.size_bytes,
            sha256=digest,
            profile=row.profile,
            readings=row.readings,
            consent=row.consent,
            created_s=now,
            delete_after_s=now + settings.retention_days * DAY_S,
            state=WAITING,
            attempts=0,
            severity=-1,
        )
    )


def guard_original(connection: Connection, digest: str) -> None:
    """Let no one else add or delete this original until the change is done.

    SQLite lets only one change happen at a time anyway.
    """
    if connection.dialect.name == "postgresql":
        key = zlib.crc32(digest.encode("ascii")) - 2**31
        connection.execute(select(func.pg_advisory_xact_lock(7302, key)))


def claim(connection: Connection, settings: Settings) -> Claim | None:
    """Take the oldest job that waits or whose worker has gone silent."""
    now = time.time()
    free = (job.c.state == WAITING) | ((job.c.state == RUNNING) & (job.c.lease_until_s < now))
    row = connection.execute(
        select(job).where(free).order_by(job.c.created_s).limit(1).with_for_update(skip_locked=True)
    ).first()
    if row is None:
        return None
    lease = new_id()
    connection.execute(
        update(job)
        .where(job.c.id == row.id)
        .values(
            state=RUNNING,
            lease=lease,
            lease_until_s=now + settings.lease_s,
            attempts=row.attempts + 1,
        )
    )
    return Claim(
        job_id=row.id,
        lease=lease,
        sha256=row.sha256,
        profile=row.profile,
        readings=row.readings,
        file_name=row.file_name,
        attempt=row.attempts + 1,
    )


def renew(connection: Connection, held: Claim, settings: Settings) -> bool:
    """Keep a lease; False if it was lost to another worker or the job was deleted."""
    until = time.time() + settings.lease_s
    return _change(connection, held, lease_until_s=until)


def finish(connection: Connection, held: Claim, outcome: Outcome) -> bool:
    """Put a result on record if the lease still holds; False if this worker came too late."""
    if not _change(
        connection,
        held,
        state=DONE,
        lease=None,
        lease_until_s=None,
        finished_s=time.time(),
        result=held.lease,
        software=outcome.software[:32],
        verdict_state=outcome.verdict_state,
        verdict_sentence=outcome.verdict_sentence,
        severity=SEVERITY[outcome.verdict_state],
        failure=None,
    ):
        return False
    connection.execute(delete(finding).where(finding.c.job_id == held.job_id))
    if outcome.findings:
        rows = [
            {"job_id": held.job_id, "number": number, **told}
            for number, told in enumerate(outcome.findings)
        ]
        connection.execute(finding.insert(), rows)
    return True


def fail(connection: Connection, held: Claim, sentence: str) -> bool:
    """Set a job aside with the reason; False if the lease was lost."""
    values = {"state": FAILED, "finished_s": time.time(), "failure": sentence}
    return _change(connection, held, lease=None, lease_until_s=None, **values)


def let_go(connection: Connection, held: Claim) -> bool:
    """Hand a job back untouched, as if it had never been claimed."""
    return _change(
        connection, held, state=WAITING, lease=None, lease_until_s=None, attempts=held.attempt - 1
    )


def retry(connection: Connection, held: Claim) -> bool:
    """Hand a job back after a try that counts."""
    return _change(connection, held, state=WAITING, lease=None, lease_until_s=None)


def _change(connection: Connection, held: Claim, **values: Any) -> bool:
    """Change a job as long as its lease is ours."""
    mine = (job.c.id == held.job_id) & (job.c.lease == held.lease) & (job.c.state == RUNNING)
    return bool(connection.execute(update(job).where(mine).values(**values)).rowcount)
