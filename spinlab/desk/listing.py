"""Lists of jobs: filtered, searched, and turned page by page without counting pages.

A page begins after the last row of the one before it (keyset), so the hundredth costs what the
first does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal, get_args

from sqlalchemy import Connection, Row, Select, func, select, tuple_

from spinlab.desk import jobs
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
    job.c.id,
    job.c.reference,
    job.c.file_name,
    job.c.profile,
    job.c.size_bytes,
    job.c.created_s,
    job.c.state,
    job.c.verdict_state,
    job.c.verdict_sentence,
    job.c.severity,
    job.c.failure,
    job.c.case_id,
    job.c.message,
    account.c.name.label("technician"),
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
    query = select(*_SHOWN).join(account, account.c.id == job.c.account_id)
    query = query.where(job.c.state != jobs.ERASING)
    if viewer.role == "technician":
        query = query.where(job.c.account_id == viewer.id)
    elif viewer.role != "support":
        return Listed(rows=[], after="")
    # Only a finished job has a verdict: said twice, it would lead the planner past the index.
    if wanted.state and not (wanted.verdict and wanted.state == jobs.DONE):
        query = query.where(job.c.state == wanted.state)
    if wanted.verdict:
        query = query.where(job.c.verdict_state == wanted.verdict)
    for word in wanted.text.lower().split()[:5]:
        query = query.where(job.c.search.contains(word, autoescape=True))
    return _page(connection, query, wanted)


def _page(connection: Connection, query: Select[Any], wanted: Wanted) -> Listed:
    keys = [job.c.created_s, job.c.id]
    # Jobs of one verdict are equally severe: the newest first is then the same order.
    if wanted.order == "severity" and not wanted.verdict:
        keys.insert(0, job.c.severity)
    mark = _parse(wanted.after, len(keys))
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


def counts(connection: Connection) -> dict[str, int]:
    """How many jobs are in each state."""
    rows = connection.execute(select(job.c.state, func.count()).group_by(job.c.state))
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
