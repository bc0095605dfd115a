"""Lists of jobs: filtered, searched, and turned page by page without counting pages.

A page begins after the last row of the one before it (keyset), so the hundredth costs what the
first does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from sqlalchemy import ColumnElement, Connection, Row, Select, func, select, tuple_

from spinlab.desk import jobs, searching
from spinlab.desk.accounts import Person
from spinlab.desk.tables import account, finding, job, label

State = Literal["", "waiting", "running", "done", "failed"]
Verdict = Literal["", "clear", "attention", "fault", "not measurable"]
Order = Literal["newest", "severity"]
STATES: tuple[str, ...] = get_args(State)
VERDICTS: tuple[str, ...] = get_args(Verdict)
ORDERS: tuple[str, ...] = get_args(Order)
PAGE_ROWS = 50

_SHOWN = (
    "id",
    "reference",
    "file_name",
    "profile",
    "size_bytes",
    "created_s",
    "state",
    "verdict_state",
    "verdict_sentence",
    "severity",
    "failure",
    "case_id",
    "message",
)


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What a list is asked for; `after` is the mark that the page before ended with."""

    state: State = ""
    verdict: Verdict = ""
    text: str = ""
    order: Order = "newest"
    after: str = ""


@dataclass(frozen=True, kw_only=True)
class Listed:
    """One page of a list, and the mark of the next; empty at the end."""

    rows: list[Any]
    after: str


def list_jobs(connection: Connection, viewer: Person, wanted: Wanted) -> Listed:
    """Jobs that this person may see: a technician the own ones, support all, a trainer none."""
    words = wanted.text.replace("\0", " ").lower().split()[:5]
    shown = searching.candidates(connection, words).c
    query = select(*(shown[name] for name in _SHOWN), account.c.name.label("technician"))
    query = query.join(account, account.c.id == shown.account_id)
    query = query.where(shown.state != jobs.ERASING)
    if viewer.role == "technician":
        query = query.where(shown.account_id == viewer.id)
    elif viewer.role != "support":
        return Listed(rows=[], after="")
    # Only a finished job has a verdict: said twice, it would lead the planner past the index.
    if wanted.state and not (wanted.verdict and wanted.state == jobs.DONE):
        query = query.where(shown.state == wanted.state)
    if wanted.verdict:
        query = query.where(shown.verdict_state == wanted.verdict)
    for word in words:
        query = query.where(shown.search.contains(word, autoescape=True))
    keys: list[ColumnElement[Any]] = [shown.created_s, shown.id]
    # Jobs of one verdict are equally severe: the newest first is then the same order.
    if wanted.order == "severity" and not wanted.verdict:
        keys.insert(0, shown.severity)
    return _page(connection, query, keys, wanted.after)


def _page(
    connection: Connection, query: Select[Any], keys: list[ColumnElement[Any]], after: str
) -> Listed:
    mark = _parse(after, len(keys))
    if mark is not None:
        query = query.where(tuple_(*keys) < tuple_(*mark))
    query = query.order_by(*(key.desc() for key in keys)).limit(PAGE_ROWS + 1)
    rows = list(connection.execute(query))
    after = ""
    if len(rows) > PAGE_ROWS:
        rows = rows[:PAGE_ROWS]
        last = rows[-1]
        parts = [repr(last.created_s), last.id]
        after = "_".join([str(last.severity), *parts] if len(keys) == 3 else parts)
    return Listed(rows=rows, after=after)


def _parse(mark: str, keys: int) -> list[Any] | None:
    parts = mark.split("_")
    if len(parts) != keys:
        return None
    try:
        numbers = [float(part) for part in parts[:-1]]
    except ValueError:
        return None
    return [*numbers, parts[-1]] if all(map(math.isfinite, numbers)) else None


def counts(connection: Connection, states: Sequence[str] = STATES[1:]) -> dict[str, int]:
    """How many jobs are in each of these states; those that have any."""
    query = select(job.c.state, func.count()).where(job.c.state.in_(states))
    rows = connection.execute(query.group_by(job.c.state))
    return {state: number for state, number in rows}


def find_job(connection: Connection, viewer: Person, job_id: str) -> Row[Any] | None:
    """One job with all its columns, if this person may see it."""
    query = select(job, account.c.name.label("technician")).join(
        account, account.c.id == job.c.account_id
    )
    query = query.where((job.c.id == job_id) & (job.c.state != jobs.ERASING))
    if viewer.role == "technician":
        query = query.where(job.c.account_id == viewer.id)
    elif viewer.role != "support":
        return None
    return connection.execute(query).first()


def findings_of(connection: Connection, job_id: str) -> list[Row[Any]]:
    """A job's findings, the worst first."""
    query = select(finding).where(finding.c.job_id == job_id).order_by(finding.c.number)
    return list(connection.execute(query))


def labels_of(connection: Connection, job_id: str) -> list[Row[Any]]:
    """Who agreed or disagreed with which finding of a job."""
    query = (
        select(label.c.number, label.c.agrees, label.c.account_id, account.c.name)
        .join(account, account.c.id == label.c.account_id, isouter=True)
        .where(label.c.job_id == job_id)
        .order_by(label.c.created_s)
    )
    return list(connection.execute(query))


def list_cases(connection: Connection, after: str = "") -> Listed:
    """Released cases, without anything that tells whose they are."""
    columns = (job.c.case_id, job.c.profile, job.c.verdict_state, job.c.verdict_sentence)
    query = select(*columns).where((job.c.case_id.is_not(None)) & (job.c.state == jobs.DONE))
    if after:
        query = query.where(job.c.case_id > after)
    rows = list(connection.execute(query.order_by(job.c.case_id).limit(PAGE_ROWS + 1)))
    more = len(rows) > PAGE_ROWS
    rows = rows[:PAGE_ROWS]
    return Listed(rows=rows, after=rows[-1].case_id if more else "")


def find_case(connection: Connection, case_id: str) -> Row[Any] | None:
    """The job behind a released case."""
    query = select(job).where((job.c.case_id == case_id) & (job.c.state == jobs.DONE))
    return connection.execute(query).first()
