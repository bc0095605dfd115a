"""Results as files: report, sound and original, for whom each is meant."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi import Path as InPath
from starlette.responses import FileResponse, Response

from spinlab.desk import examine, listing, review
from spinlab.desk.audit import record
from spinlab.desk.throttle import LINK
from spinlab.desk.web.api import JobId
from spinlab.desk.web.render import page
from spinlab.desk.web.state import (
    Anyone,
    Desk,
    DeskHere,
    Support,
    Trainer,
    address_of,
    found_or_refused,
    spend,
)

router = APIRouter(include_in_schema=False)
Token = Annotated[str, InPath(min_length=20, max_length=64, pattern="^[A-Za-z0-9_-]+$")]
CaseId = Annotated[str, InPath(pattern="^[0-9a-f]{32}$")]
_BOX = "base-uri 'none'; form-action 'none'; frame-ancestors 'self'; sandbox allow-scripts"
_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]+)">')


@router.get("/jobs/{job_id}/report")
def report(job_id: JobId, who: Anyone, desk: DeskHere) -> Response:
    """The report's page, as `spinlab check --page` makes it."""
    return report_page(_file(desk, _mine(desk, who, job_id), examine.PAGE))


@router.get("/jobs/{job_id}/sound")
def sound(job_id: JobId, who: Anyone, desk: DeskHere) -> Response:
    """The sound for the player."""
    return _sound(_file(desk, _mine(desk, who, job_id), examine.SOUND))


@router.get("/jobs/{job_id}/result.json")
def result(job_id: JobId, who: Anyone, desk: DeskHere) -> Response:
    """The result for programs."""
    path = _file(desk, _mine(desk, who, job_id), examine.RESULT)
    return FileResponse(path, media_type="application/json", filename=f"{job_id}.json")


@router.get("/jobs/{job_id}/original")
def original(job_id: JobId, request: Request, who: Support, desk: DeskHere) -> Response:
    """The recording as it came, to be saved and never shown: its content is anyone's."""
    with desk.database.write() as connection:
        row = found_or_refused(listing.find_job(connection, who.person, job_id))
        told = {"subject": job_id, "address": address_of(request)}
        record(connection, "original taken", account=who.person.id, **told)
    path = found_or_refused(_there(desk.vault.original(row.sha256)), "recording")
    name = f"{row.sha256[:16]}.bin"
    return FileResponse(path, media_type="application/octet-stream", filename=name)


@router.get("/jobs/{job_id}/copy/report")
def copy_report(job_id: JobId, who: Support, desk: DeskHere) -> Response:
    """The report that trainers would see, before it is released."""
    return report_page(_file(desk, _mine(desk, who, job_id), examine.SHARED_PAGE))


@router.get("/jobs/{job_id}/copy/sound")
def copy_sound(job_id: JobId, who: Support, desk: DeskHere) -> Response:
    """The sound that trainers would hear, before it is released."""
    return _sound(_file(desk, _mine(desk, who, job_id), examine.SHARED_SOUND))


@router.get("/r/{token}", name="open_link")
def open_link(token: Token, request: Request, desk: DeskHere) -> Response:
    """What a hand-back link shows: the answer, to whoever holds the link."""
    row = _linked(desk, token, request, told=True)
    with desk.database.read() as connection:
        found = listing.findings_of(connection, row.id)
    return page("handed_back.html", None, job=row, findings=found, token=token)


@router.get("/r/{token}/report")
def linked_report(token: Token, request: Request, desk: DeskHere) -> Response:
    """The report behind a hand-back link."""
    return report_page(_file(desk, _linked(desk, token, request), examine.PAGE))


def _linked(desk: Desk, token: str, request: Request, *, told: bool = False) -> Any:
    address = address_of(request)
    spend(desk, LINK, f"link {address}")
    with desk.database.write() as connection:
        row = found_or_refused(review.opened_by(connection, token), "result, or its link has ended")
        if told:
            record(connection, "link opened", account="link", subject=row.id, address=address)
    return row


@router.get("/cases")
def cases(
    who: Trainer, desk: DeskHere, after: Annotated[str, Query(max_length=40)] = ""
) -> Response:
    """Released cases."""
    with desk.database.read() as connection:
        found = listing.list_cases(connection, after)
    return page("cases.html", who, rows=found.rows, after=found.after)


@router.get("/cases/{case_id}")
def case(case_id: CaseId, who: Trainer, desk: DeskHere) -> Response:
    """One released case: findings, report and sound without speech."""
    row = _released(desk, case_id)
    with desk.database.read() as connection:
        found = listing.findings_of(connection, row.id)
    hearable = (desk.vault.results(row.id, row.result) / examine.SHARED_SOUND).exists()
    return page("case.html", who, case=row, findings=found, hearable=hearable)


@router.get("/cases/{case_id}/report")
def case_report(case_id: CaseId, who: Trainer, desk: DeskHere) -> Response:
    """The report of a released case."""
    return report_page(_file(desk, _released(desk, case_id), examine.SHARED_PAGE))


@router.get("/cases/{case_id}/sound")
def case_sound(case_id: CaseId, who: Trainer, desk: DeskHere) -> Response:
    """The sound of a released case, without the band of speech."""
    return _sound(_file(desk, _released(desk, case_id), examine.SHARED_SOUND))


def _released(desk: Desk, case_id: str) -> Any:
    with desk.database.read() as connection:
        return found_or_refused(listing.find_case(connection, case_id), "case")


def _mine(desk: Desk, who: Anyone, job_id: str) -> Any:
    with desk.database.read() as connection:
        return found_or_refused(listing.find_job(connection, who.person, job_id))


def _file(desk: Desk, row: Any, name: str) -> Path:
    found_or_refused(row.result, "result yet")
    path: Path = found_or_refused(_there(desk.vault.results(row.id, row.result) / name), "file")
    return path


def _there(path: Path) -> Path | None:
    return path if path.is_file() else None


def _sound(path: Path) -> Response:
    return FileResponse(path, media_type=examine.SOUND_TYPE)


def report_page(path: Path) -> Response:
    """A report under the policy that it carries itself, and in a box of its own.

    The page's script and style are allowed by their hashes; "sandbox" without "allow-same-origin"
    keeps it from the desk's cookies whatever it holds.
    """
    text = path.read_text("utf-8")
    found = _POLICY.search(text[:4000])
    own = found.group(1).replace("&#39;", "'") if found else "default-src 'none'"
    policy = f"{own}; {_BOX}"
    headers = {"Content-Security-Policy": policy, "X-Frame-Options": "SAMEORIGIN"}
    return Response(text, media_type="text/html; charset=utf-8", headers=headers)
