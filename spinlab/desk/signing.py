"""Signing in and out: random tokens in a cookie, their hashes in the database."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from spinlab.desk import accounts
from spinlab.desk.accounts import Person
from spinlab.desk.audit import record
from spinlab.desk.database import Database
from spinlab.desk.identity import new_token, token_hash
from spinlab.desk.settings import Settings
from spinlab.desk.tables import account, session

HOUR_S = 3600.0
# A use is noted at most so often: not every picture of a page is worth a write.
_NOTE_EVERY_S = 60.0


@dataclass(frozen=True, kw_only=True)
class SignIn:
    """A person at the other end, and the token that their forms must carry."""

    person: Person
    csrf: str


def sign_in(database: Database, name: str, password: str, *, address: str) -> str | None:
    """A new token if name and password fit, else None; both are put on record."""
    with database.read() as connection:
        person, kept = accounts.find_hash(connection, name)
    fits = accounts.matches(password, kept)
    with database.write() as connection:
        if person is None or kept is None or not fits:
            known = person.id if person is not None else "unknown"
            record(connection, "sign-in refused", account=known, address=address)
            return None
        if accounts.outdated(kept):
            renewed = accounts.hash_password(password)
            change = account.update().where(account.c.id == person.id)
            connection.execute(change.values(password_hash=renewed))
        record(connection, "signed in", account=person.id, address=address)
        return begin(connection, person)


def begin(connection: Connection, person: Person) -> str:
    """A new sign-in for someone who has proven who they are; returns its token."""
    token, now = new_token(), time.time()
    connection.execute(
        session.insert().values(
            token_hash=token_hash(token),
            account_id=person.id,
            csrf=new_token(),
            created_s=now,
            seen_s=now,
        )
    )
    return token


def signed_in(database: Database, settings: Settings, token: str) -> SignIn | None:
    """Who holds this token, unless it is unknown, too old or was left unused for too long."""
    if not token:
        return None
    known = ("name", "role", "active", "initial_until_s")
    columns: list[Any] = [session, *(account.c[name] for name in known)]
    with database.read() as connection:
        row = connection.execute(
            select(*columns)
            .join(account, account.c.id == session.c.account_id)
            .where(session.c.token_hash == token_hash(token))
        ).first()
    now = time.time()
    if row is None or not row.active:
        return None
    if now > min(
        row.created_s + settings.session_hours * HOUR_S, row.seen_s + settings.idle_hours * HOUR_S
    ):
        sign_out(database, token)
        return None
    if now > row.seen_s + _NOTE_EVERY_S:
        with database.write() as connection:
            change = session.update().where(session.c.token_hash == row.token_hash)
            connection.execute(change.values(seen_s=now))
    must_change = row.initial_until_s is not None
    person = Person(id=row.account_id, name=row.name, role=row.role, must_change=must_change)
    return SignIn(person=person, csrf=row.csrf)


def sign_out(database: Database, token: str) -> None:
    """End one sign-in, on the server and not only in the browser."""
    with database.write() as connection:
        connection.execute(session.delete().where(session.c.token_hash == token_hash(token)))


def sweep_sessions(connection: Connection, settings: Settings) -> None:
    """Forget sign-ins that are over."""
    now = time.time()
    connection.execute(
        session.delete().where(
            (session.c.created_s < now - settings.session_hours * HOUR_S)
            | (session.c.seen_s < now - settings.idle_hours * HOUR_S)
        )
    )
