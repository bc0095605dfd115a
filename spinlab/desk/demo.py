"""Accounts to try the desk with, on this computer alone; their passwords are drawn by lot."""

from __future__ import annotations

from sqlalchemy import func, select

from spinlab.desk.accounts import ROLES, add_account, draw_password
from spinlab.desk.database import Database
from spinlab.desk.tables import account


def demo_accounts(database: Database) -> dict[str, str]:
    """Make one account per role if there is no account yet; returns name and password of each."""
    with database.write() as connection:
        if connection.execute(select(func.count()).select_from(account)).scalar_one():
            return {}
        made = {f"demo-{role}": (role, draw_password()) for role in ROLES}
        for name, (role, password) in made.items():
            add_account(connection, name, role, password)
    return {name: password for name, (_, password) in made.items()}
