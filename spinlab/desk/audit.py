"""The audit trail: who did what to which job, and when.  Rows are added and never changed."""

from __future__ import annotations

import time
from typing import Any

from sqlalchemy import Connection, Row, select

from spinlab.desk.tables import audit
from spinlab.errors import printable

_LONGEST_DETAIL = 255


def record(
    connection: Connection,
    action: str,
    *,
    account: str,
    subject: str = "",
    detail: str = "",
    address: str = "",
) -> None:
    """Add one line to the trail, in the same change as what it tells of.

    Never hand in passwords, tokens, notes or file names: a line outlives the job it speaks of.
    """
    connection.execute(
        audit.insert().values(
            time_s=time.time(),
            account=account[:64],
            action=action,
            subject=subject[:64],
            detail=printable(detail)[:_LONGEST_DETAIL],
            address=address[:64],
        )
    )


def trail(connection: Connection, *, subject: str = "", most: int = 200) -> list[Row[Any]]:
    """The newest lines, of one job or account if `subject` names it."""
    query = select(audit).order_by(audit.c.id.desc()).limit(most)
    if subject:
        query = query.where(audit.c.subject == subject)
    return list(connection.execute(query))
