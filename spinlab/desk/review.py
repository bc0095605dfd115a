"""What support does with a job: labels, notes, a word and a link for the technician, release."""

from __future__ import annotations

import time
from typing import Any

from sqlalchemy import Connection, Row, select

from spinlab.desk import jobs
from spinlab.desk.accounts import Person
from spinlab.desk.audit import record
from spinlab.desk.identity import new_id, new_token, token_hash
from spinlab.desk.settings import DAY_S, Settings
from spinlab.desk.tables import account, finding, hand_back, job, label, note

LONGEST_NOTE = 4000


def put_label(
    connection: Connection, person: Person, row: Row[Any], number: int, *, agrees: bool | None
) -> bool:
    """Agree or disagree with one finding, or take that back; False if there is no such finding."""
    told = connection.execute(
        select(finding).where((finding.c.job_id == row.id) & (finding.c.number == number))
    ).first()
    if told is None:
        return False
    mine = (label.c.job_id == row.id) & (label.c.number == number)
    connection.execute(label.delete().where(mine & (label.c.account_id == person.id)))
    if agrees is not None:
        connection.execute(
            label.insert().values(
                job_id=row.id,
                account_id=person.id,
                number=number,
                agrees=agrees,
                kind=told.kind,
                subject=told.subject,
                state=told.state,
                probability=told.probability,
                profile=row.profile,
                software=row.software or "",
                created_s=time.time(),
            )
        )
    word = {True: "agrees", False: "disagrees", None: "takes back"}[agrees]
    record(connection, "label", account=person.id, subject=row.id, detail=f"{word}, {number}")
    return True


def labels_for_calibration(connection: Connection) -> list[dict[str, Any]]:
    """Every label without who gave it and to which job: finding, probability, agreement."""
    names = ("kind", "subject", "state", "probability", "profile", "software", "agrees")
    query = select(*(label.c[name] for name in names)).order_by(label.c.id)
    return [dict(row) for row in connection.execute(query).mappings()]


def add_note(connection: Connection, person: Person, job_id: str, text: str) -> None:
    """Keep a note for colleagues; technicians and trainers never see it."""
    now = time.time()
    values = {"job_id": job_id, "account_id": person.id, "created_s": now}
    connection.execute(note.insert().values(text=text[:LONGEST_NOTE], **values))
    record(connection, "note", account=person.id, subject=job_id)


def notes_of(connection: Connection, job_id: str) -> list[Row[Any]]:
    """A job's notes with their writers, oldest first."""
    query = (
        select(note.c.text, note.c.created_s, account.c.name)
        .join(account, account.c.id == note.c.account_id)
        .where(note.c.job_id == job_id)
        .order_by(note.c.id)
    )
    return list(connection.execute(query))


def set_message(connection: Connection, person: Person, job_id: str, text: str) -> None:
    """What support tells the technician; stands first on the technician's page."""
    change = job.update().where(job.c.id == job_id)
    connection.execute(change.values(message=text.strip()[:LONGEST_NOTE] or None))
    record(connection, "message", account=person.id, subject=job_id)


def make_link(
    connection: Connection, person: Person, job_id: str, settings: Settings
) -> tuple[str, float]:
    """(token, time of expiry) of a new hand-back link; older links of the job stop working.

    The token is shown once: only its hash is kept.
    """
    token, now = new_token(), time.time()
    expires_s = now + settings.hand_back_days * DAY_S
    connection.execute(hand_back.delete().where(hand_back.c.job_id == job_id))
    connection.execute(
        hand_back.insert().values(
            token_hash=token_hash(token), job_id=job_id, created_s=now, expires_s=expires_s
        )
    )
    record(connection, "link made", account=person.id, subject=job_id)
    return token, expires_s


def withdraw_link(connection: Connection, person: Person, job_id: str) -> None:
    """Let a job's link open nothing any more."""
    connection.execute(hand_back.delete().where(hand_back.c.job_id == job_id))
    record(connection, "link withdrawn", account=person.id, subject=job_id)


def link_of(connection: Connection, job_id: str) -> float | None:
    """When a job's link ends, or None if it has none."""
    query = select(hand_back.c.expires_s).where(
        (hand_back.c.job_id == job_id) & (hand_back.c.expires_s > time.time())
    )
    return connection.execute(query).scalar()


def opened_by(connection: Connection, token: str) -> Row[Any] | None:
    """The finished job that a link's token opens."""
    query = (
        select(job)
        .join(hand_back, hand_back.c.job_id == job.c.id)
        .where(
            (hand_back.c.token_hash == token_hash(token))
            & (hand_back.c.expires_s > time.time())
            & (job.c.state == jobs.DONE)
        )
    )
    return connection.execute(query).first()


def release(connection: Connection, person: Person, row: Row[Any]) -> str | None:
    """Show a finished job's de-identified copy to trainers; returns the case's own identifier."""
    if row.state != jobs.DONE:
        return None
    if row.case_id is not None:
        return str(row.case_id)
    case_id = new_id()
    connection.execute(job.update().where(job.c.id == row.id).values(case_id=case_id))
    record(connection, "released", account=person.id, subject=row.id)
    return case_id


def withdraw(connection: Connection, person: Person, job_id: str) -> None:
    """Take a case back from trainers."""
    connection.execute(job.update().where(job.c.id == job_id).values(case_id=None))
    record(connection, "release withdrawn", account=person.id, subject=job_id)
