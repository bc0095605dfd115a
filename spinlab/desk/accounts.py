"""Accounts: who may come in, as what, and how a password is kept.

Passwords are hashed with Argon2id (RFC 9106) at the library's defaults, which follow that RFC's
second recommended choice (64 MiB, 3 passes); a hash made with weaker values is renewed at the next
sign-in.  Length is what counts (NIST SP 800-63B, 5.1.1): nothing is asked of a password but that it
is long and not easily guessed, which zxcvbn judges by its lists of common passwords and names.

Whoever runs the desk never chooses a password for others: it is drawn by lot, opens for a week, and
only to be changed.
"""

from __future__ import annotations

import secrets
import threading
import time
import unicodedata
from dataclasses import dataclass
from typing import Any, Literal, get_args

from sqlalchemy import Connection, Row, select
from sqlalchemy.exc import IntegrityError

from spinlab.desk.audit import record
from spinlab.desk.identity import new_id
from spinlab.desk.settings import DAY_S
from spinlab.desk.tables import account, session
from spinlab.errors import InputError, printable

Role = Literal["technician", "support", "trainer"]
ROLES: tuple[Role, ...] = get_args(Role)

SHORTEST_PASSWORD, LONGEST_PASSWORD = 12, 256
LONGEST_NAME = 64
FEWEST_GUESSES = 10**6
INITIAL_DAYS = 7.0
# What is the first to be tried here.
_OWN_WORDS = ("spinlab", "desk", "technician", "support", "trainer", "washing", "machine", "drum")
# Letters and digits that nobody takes for one another.
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
# One hash takes 64 MiB: two at a time keep a flood of sign-ins from filling the memory.
_HASHING = threading.BoundedSemaphore(2)


@dataclass(frozen=True, kw_only=True)
class Person:
    """One account as the rest of the desk sees it."""

    id: str
    name: str
    role: Role
    must_change: bool = False


def add_account(
    connection: Connection, name: str, role: str, password: str, *, initial: bool = False
) -> Person:
    """Create an account; an `initial` password must be changed at the first sign-in.

    Raises:
        InputError: the role is unknown, the name taken or unfit, or the password too weak.
    """
    if role not in ROLES:
        raise InputError(f"{printable(role)} is no role; choose one of {', '.join(ROLES)}.")
    name = _fit_name(name)
    person = Person(id=new_id(), name=name, role=role, must_change=initial)
    row = {"id": person.id, "name": name, "role": role, "active": True, "created_s": time.time()}
    kept = {"password_hash": hash_password(password), "initial_until_s": _until(initial)}
    try:
        connection.execute(account.insert().values(**row, **kept))
    except IntegrityError as error:
        raise InputError(f"There is already an account {name}; choose another name.") from error
    record(connection, "account added", account="operator", subject=person.id, detail=role)
    return person


def draw_password() -> str:
    """A password by lot: 16 letters and digits that nobody mistakes, 79 bits."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(4))


def reset_password(connection: Connection, name: str) -> str:
    """Draw a new first password for an account, open it again, and end all its sign-ins.

    Raises:
        InputError: there is no such account.
    """
    row, password = _by_name(connection, name), draw_password()
    _keep_password(connection, row.id, password, initial=True)
    record(connection, "password reset", account="operator", subject=row.id)
    return password


def change_password(connection: Connection, person: Person, password: str) -> None:
    """Give a person the password of their own choice, and end all their sign-ins.

    Raises:
        InputError: the password is too weak.
    """
    _keep_password(connection, person.id, password, initial=False)
    record(connection, "password changed", account=person.id, subject=person.id)


def _keep_password(
    connection: Connection, account_id: str, password: str, *, initial: bool
) -> None:
    values = {"password_hash": hash_password(password), "initial_until_s": _until(initial)}
    change = account.update().where(account.c.id == account_id)
    connection.execute(change.values(active=True, **values))
    connection.execute(session.delete().where(session.c.account_id == account_id))


def _until(initial: bool) -> float | None:
    return time.time() + INITIAL_DAYS * DAY_S if initial else None


def close_account(connection: Connection, name: str) -> None:
    """Let nobody in under this name any more; what the account did stays on record.

    Raises:
        InputError: there is no such account.
    """
    row = _by_name(connection, name)
    connection.execute(account.update().where(account.c.id == row.id).values(active=False))
    connection.execute(session.delete().where(session.c.account_id == row.id))
    record(connection, "account closed", account="operator", subject=row.id)


def accounts(connection: Connection) -> list[Row[Any]]:
    """Name, role and state of every account, by name."""
    columns = (account.c.name, account.c.role, account.c.active, account.c.created_s)
    return list(connection.execute(select(*columns).order_by(account.c.name)))


def find_hash(connection: Connection, name: str) -> tuple[Person | None, str | None]:
    """The open account of that name and its hash, or two times None."""
    row = connection.execute(select(account).where(account.c.name == _plain(name))).first()
    if row is None or not row.active:
        return None, None
    if row.initial_until_s is not None and row.initial_until_s < time.time():
        return None, None
    must_change = row.initial_until_s is not None
    person = Person(id=row.id, name=row.name, role=row.role, must_change=must_change)
    return person, row.password_hash


def hash_password(password: str) -> str:
    """The Argon2id hash of a password that is good enough.

    Raises:
        InputError: it is too short, too long or among the most common ones.
    """
    length = len(password)
    if not SHORTEST_PASSWORD <= length <= LONGEST_PASSWORD:
        raise InputError(
            f"The password has {length} characters; give {SHORTEST_PASSWORD} to {LONGEST_PASSWORD}."
        )
    if _easily_guessed(password):
        raise InputError("This password is among the first to be guessed; choose another.")
    with _HASHING:
        return str(_hasher().hash(_plain(password)))


def matches(password: str, kept: str | None) -> bool:
    """Whether a password fits its hash; without a hash just as slow, and never."""
    from argon2.exceptions import Argon2Error, InvalidHashError

    given = _plain(password[: LONGEST_PASSWORD + 1])
    with _HASHING:
        try:
            return bool(_hasher().verify(kept or _decoy(), given)) and kept is not None
        except (Argon2Error, InvalidHashError):
            return False


def outdated(kept: str) -> bool:
    """Whether a hash was made with weaker values than today's."""
    return bool(_hasher().check_needs_rehash(kept))


def _hasher() -> Any:
    from argon2 import PasswordHasher

    return PasswordHasher()


_DECOY: list[str] = []


def _decoy() -> str:
    """A hash of nothing anyone knows, so that an unknown name answers no faster."""
    if not _DECOY:
        _DECOY.append(_hasher().hash(new_id()))
    return _DECOY[0]


def _by_name(connection: Connection, name: str) -> Row[Any]:
    row = connection.execute(select(account).where(account.c.name == _plain(name))).first()
    if row is None:
        raise InputError(f"There is no account {printable(name)}.")
    return row


def _fit_name(name: str) -> str:
    plain = _plain(name)
    if not 1 <= len(plain) <= LONGEST_NAME or not plain.isprintable() or plain != plain.strip():
        raise InputError(
            f"The account's name is unfit; give 1 to {LONGEST_NAME} printable characters."
        )
    return plain


def _plain(text: str) -> str:
    """One form for what looks alike (Unicode NFKC, as NIST SP 800-63B 5.1.1.2 asks)."""
    return unicodedata.normalize("NFKC", text)


def _easily_guessed(password: str) -> bool:
    """Whether it falls within a million guesses, of passwords, names, words and rows of keys."""
    from zxcvbn import zxcvbn

    # The library looks at 72 characters at most; a password is no worse for what follows.
    judged = zxcvbn(password[:72], user_inputs=list(_OWN_WORDS))
    return bool(judged["guesses"] < FEWEST_GUESSES)
