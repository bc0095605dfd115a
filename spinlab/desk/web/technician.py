"""Pages of the technician: record or upload, the own jobs, and signing in and out."""

from __future__ import annotations

import uuid
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import Response

from spinlab.desk import listing
from spinlab.desk.intake import CONSENT_SENTENCE, Refused
from spinlab.desk.profiles import profile_names
from spinlab.desk.signing import SignIn
from spinlab.desk.web.api import announcement
from spinlab.desk.web.models import Told
from spinlab.desk.web.people import see_other
from spinlab.desk.web.render import page
from spinlab.desk.web.state import (
    Desk,
    DeskHere,
    Technician,
    address_of,
    check_form,
)

router = APIRouter(include_in_schema=False)


@router.get("/record")
def record_page(who: Technician, desk: DeskHere) -> Response:
    """Record or choose a file, say what it is, send it."""
    return _record_page(desk, who, "", 200)


def _record_page(desk: Desk, who: SignIn, problem: str, status: int) -> Response:
    return page(
        "record.html",
        who,
        status=status,
        problem=problem,
        profiles=profile_names(desk.vault),
        most_bytes=desk.settings.max_upload_bytes,
        consent=CONSENT_SENTENCE.format(days=desk.settings.retention_days),
    )


@router.post("/record")
async def take_record(request: Request, who: Technician, desk: DeskHere) -> Response:
    """The same form from a browser without script: one request, no resuming."""
    async with request.form(max_files=1, max_fields=10, max_part_size=8192) as form:
        texts = {key: value for key, value in form.items() if isinstance(value, str)}
        check_form(who, texts.get("csrf", ""))
        file = form.get("file")
        if not isinstance(file, UploadFile) or not file.size:
            return _record_page(desk, who, "Choose a file, or record one.", 422)
        try:
            job_id = await _take(desk, who, texts, file, address_of(request))
        except Refused as refused:
            return _record_page(desk, who, refused.sentence, refused.status)
        except ValidationError:
            return _record_page(desk, who, "The reference or the file's name is too long.", 422)
    return see_other(f"/jobs/{job_id}")


async def _take(
    desk: Desk, who: SignIn, texts: dict[str, str], file: UploadFile, address: str
) -> str:
    told = Told(
        size_bytes=file.size or 0,
        file_name=(file.filename or "recording")[-255:],
        reference=texts.get("reference", ""),
        profile=texts.get("profile", ""),
        readings=texts.get("readings", ""),
        consent=texts.get("consent") == "yes",
    )
    upload_id, intake = str(uuid.uuid4()), desk.intake
    told_checked = await run_in_threadpool(announcement, desk, told)
    await intake.aside(intake.announce, who.person, upload_id, told_checked)

    async def blocks() -> AsyncIterator[bytes]:
        while block := await file.read(2**20):
            yield block

    await intake.append(told.size_bytes, upload_id, 0, blocks())
    return await intake.aside(intake.finish, who.person, upload_id, address=address)


@router.get("/mine")
def mine(who: Technician, desk: DeskHere, after: str = "") -> Response:
    """The technician's own jobs, newest first."""
    with desk.database.read() as connection:
        found = listing.list_jobs(connection, who.person, listing.Wanted(after=after[:120]))
    return page("mine.html", who, rows=found.rows, after=found.after)
