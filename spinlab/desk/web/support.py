"""Pages of support: the queue, one job under review, and what is done with it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import Response

from spinlab.desk import jobs, listing, review
from spinlab.desk.audit import record, trail
from spinlab.desk.erasure import erase
from spinlab.desk.web.api import JobId
from spinlab.desk.web.people import see_other
from spinlab.desk.web.render import page
from spinlab.desk.web.state import (
    Anyone,
    DeskHere,
    Support,
    address_of,
    check_form,
    found_or_refused,
)

router = APIRouter(include_in_schema=False)
Token = Annotated[str, Form(max_length=200)]


@router.get("/queue")
def queue(
    who: Support,
    desk: DeskHere,
    state: Annotated[str, Query(max_length=20)] = "",
    verdict: Annotated[str, Query(max_length=20)] = "",
    text: Annotated[str, Query(max_length=80)] = "",
    order: Annotated[str, Query(max_length=20)] = "newest",
    after: Annotated[str, Query(max_length=120)] = "",
) -> Response:
    """Every job: filtered, searched, newest or most severe first."""
    wanted: Any = {
        "state": state if state in listing.STATES else "",
        "verdict": verdict if verdict in listing.VERDICTS else "",
        "order": order if order in listing.ORDERS else "newest",
        "text": text,
    }
    with desk.database.read() as connection:
        asked = listing.Wanted(after=after, **wanted)
        found = listing.list_jobs(connection, who.person, asked)
        numbers = listing.counts(connection, (jobs.WAITING, jobs.RUNNING))
    return page(
        "queue.html", who, rows=found.rows, after=found.after, wanted=wanted, counts=numbers
    )


@router.get("/jobs/{job_id}")
def job(job_id: JobId, request: Request, who: Anyone, desk: DeskHere) -> Response:
    """One job: for its technician the answer, for support the review."""
    return _job(job_id, request, who, desk)


def _job(job_id: str, request: Request, who: Anyone, desk: DeskHere, *, link: str = "") -> Response:
    reviewing = who.person.role == "support"
    with desk.database.write() as connection:
        row = found_or_refused(listing.find_job(connection, who.person, job_id))
        if reviewing:
            address = address_of(request)
            record(connection, "opened", account=who.person.id, subject=job_id, address=address)
        content = {
            "job": row,
            "findings": listing.findings_of(connection, job_id),
            "labels": _labels(listing.labels_of(connection, job_id)) if reviewing else {},
            "notes": review.notes_of(connection, job_id) if reviewing else [],
            "link_until": review.link_of(connection, job_id) if reviewing else None,
            "trail": trail(connection, subject=job_id, most=30) if reviewing else [],
        }
    name = "review.html" if reviewing else "answer.html"
    hearable = row.result is not None and _hearable(desk, row)
    return page(name, who, link=link, hearable=hearable, **content)


def _hearable(desk: DeskHere, row: Any) -> bool:
    return (desk.vault.results(row.id, row.result) / "sound.mp4").exists()


def _labels(rows: list[Any]) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = {}
    for row in rows:
        found.setdefault(row.number, []).append(row)
    return found


@router.post("/jobs/{job_id}/label")
def label(
    job_id: JobId,
    who: Support,
    desk: DeskHere,
    number: Annotated[int, Form(ge=0, le=10_000)],
    answer: Annotated[str, Form(max_length=20)],
    csrf: Token = "",
) -> Response:
    """Agree or disagree with a finding."""
    check_form(who, csrf)
    agrees = {"agree": True, "disagree": False}.get(answer)
    with desk.database.write() as connection:
        row = found_or_refused(listing.find_job(connection, who.person, job_id))
        done = review.put_label(connection, who.person, row, number, agrees=agrees)
    found_or_refused(done or None, "finding")
    return see_other(f"/jobs/{job_id}#finding-{number}")


@router.post("/jobs/{job_id}/note")
def note(
    job_id: JobId,
    who: Support,
    desk: DeskHere,
    text: Annotated[str, Form(max_length=review.LONGEST_NOTE)] = "",
    csrf: Token = "",
) -> Response:
    """Leave a note for colleagues."""
    check_form(who, csrf)
    with desk.database.write() as connection:
        found_or_refused(listing.find_job(connection, who.person, job_id))
        if text.strip():
            review.add_note(connection, who.person, job_id, text.strip())
    return see_other(f"/jobs/{job_id}#notes")


@router.post("/jobs/{job_id}/message")
def message(
    job_id: JobId,
    who: Support,
    desk: DeskHere,
    text: Annotated[str, Form(max_length=review.LONGEST_NOTE)] = "",
    csrf: Token = "",
) -> Response:
    """Tell the technician what to do next."""
    check_form(who, csrf)
    with desk.database.write() as connection:
        found_or_refused(listing.find_job(connection, who.person, job_id))
        review.set_message(connection, who.person, job_id, text)
    return see_other(f"/jobs/{job_id}#hand-back")


@router.post("/jobs/{job_id}/link")
def link(
    job_id: JobId,
    request: Request,
    who: Support,
    desk: DeskHere,
    action: Annotated[str, Form(max_length=20)] = "make",
    csrf: Token = "",
) -> Response:
    """Make a link for the technician, or let it open nothing any more."""
    check_form(who, csrf)
    with desk.database.write() as connection:
        row = found_or_refused(listing.find_job(connection, who.person, job_id))
        if action == "withdraw":
            review.withdraw_link(connection, who.person, job_id)
            return see_other(f"/jobs/{job_id}#hand-back")
        found_or_refused(row.result, "result yet")
        token, _ = review.make_link(connection, who.person, job_id, desk.settings)
    address = str(request.url_for("open_link", token=token))
    return _job(job_id, request, who, desk, link=address)


@router.post("/jobs/{job_id}/release")
def release(
    job_id: JobId,
    who: Support,
    desk: DeskHere,
    action: Annotated[str, Form(max_length=20)] = "release",
    csrf: Token = "",
) -> Response:
    """Show the de-identified copy to trainers, or take it back."""
    check_form(who, csrf)
    with desk.database.write() as connection:
        row = found_or_refused(listing.find_job(connection, who.person, job_id))
        if action == "withdraw":
            review.withdraw(connection, who.person, job_id)
        else:
            found_or_refused(review.release(connection, who.person, row), "result yet")
    return see_other(f"/jobs/{job_id}#release")


@router.post("/jobs/{job_id}/delete")
def delete(
    job_id: JobId,
    request: Request,
    who: Anyone,
    desk: DeskHere,
    sure: Annotated[str, Form(max_length=20)] = "",
    csrf: Token = "",
) -> Response:
    """Delete a job and all that was kept of it; a technician may delete the own ones."""
    check_form(who, csrf)
    with desk.database.read() as connection:
        found_or_refused(listing.find_job(connection, who.person, job_id))
    if sure == "yes":
        address = address_of(request)
        erase(desk.database, desk.vault, job_id, account=who.person.id, address=address)
        return see_other("/")
    return see_other(f"/jobs/{job_id}#delete")
