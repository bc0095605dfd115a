"""Accounts to try the desk with, on this computer alone; their passwords are drawn by lot."""

from __future__ import annotations

import secrets

from sqlalchemy import func, select

from spinlab.desk.accounts import ROLES, add_account
from spinlab.desk.database import Database
from spinlab.desk.tables import account

# Letters and digits that nobody takes for one another; sixteen of them are 79 bits.
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


def demo_accounts(database: Database) -> dict[str, str]:
    """Make one account per role if there is no account yet; returns name and password of each."""
    with database.write() as connection:
        if connection.execute(select(func.count()).select_from(account)).scalar_one():
            return {}
        made = {}
        for role in ROLES:
            password = "-".join(_group() for _ in range(4))
            add_account(connection, f"demo-{role}", role, password)
            made[f"demo-{role}"] = password
        return made


def _group() -> str:
    return "".join(secrets.choice(_LETTERS) for _ in range(4))
