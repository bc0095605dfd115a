"""The interface for programs, the phone page's script among them: JSON in, JSON out.

A sign-in's cookie says who asks, and the header X-CSRF-Token must repeat the token that `/api/me`
and every page tell.  The uploads' protocol is that of `spinlab.desk.intake`.
"""

from __future__ import annotations

import re
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Path, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from spinlab.desk import listing, review
from spinlab.desk.examine import parse_readings
from spinlab.desk.intake import Announcement, Refused
from spinlab.desk.profiles import profile_names
from spinlab.desk.signing import SignIn
from spinlab.desk.web.models import (
    FindingTold,
    Finished,
    JobList,
    JobMade,
    JobShort,
    JobWhole,
    Label,
    Me,
    NewNote,
    Problem,
    Progress,
    Told,
)
from spinlab.desk.web.state import (
    Anyone,
    Desk,
    DeskHere,
    address_of,
    changing,
    found_or_refused,
)
from spinlab.errors import InputError

_UUID = "^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
UploadId = Annotated[str, Path(pattern=_UUID, description="a UUID that the sender made up")]
JobId = Annotated[str, Path(pattern=_UUID)]

_PROBLEMS: dict[int | str, dict[str, Any]] = {
    status: {"description": meaning, "model": Problem}
    for status, meaning in {
        400: "makes no sense",
        401: "nobody is signed in",
        403: "not allowed, or without the token",
        404: "not there, or not yours",
        409: "the upload is elsewhere than the request assumes",
        413: "too large",
        422: "a value is unfit",
        423: "another part is arriving",
        429: "too many requests",
        503: "too busy; try again",
        507: "no room left",
    }.items()
}

router = APIRouter(prefix="/api", responses=_PROBLEMS)


@router.get("/me")
def me(who: Anyone) -> Me:
    """Who is signed in, and the token that changing requests must carry."""
    return Me(name=who.person.name, role=who.person.role, csrf=who.csrf)


@router.get("/profiles")
def profiles(who: Anyone, desk: DeskHere) -> list[str]:
    """Names of the machine profiles on offer."""
    return list(profile_names(desk.vault))


Sender = Annotated[SignIn, Depends(changing("technician", "support"))]
Reviewer = Annotated[SignIn, Depends(changing("support"))]


@router.put("/uploads/{upload_id}")
async def announce(upload_id: UploadId, told: Told, who: Sender, desk: DeskHere) -> Progress:
    """Begin an upload, or find how far one got."""
    checked = await run_in_threadpool(announcement, desk, told)
    offset = await desk.intake.aside(desk.intake.announce, who.person, upload_id, checked)
    return _progress(desk, offset, told.size_bytes)


def announcement(desk: Desk, told: Told) -> Announcement:
    """What was told, checked against what is on offer.

    Raises:
        Refused: no consent, no such profile, or a reading that makes no sense.
    """
    if not told.consent:
        raise Refused(422, "Without the consent of those who can be heard nothing is taken.")
    if told.profile and told.profile not in profile_names(desk.vault):
        raise Refused(422, "There is no such machine profile; choose one of the list.")
    try:
        readings = "\n".join(parse_readings(told.readings))
    except InputError as error:
        raise Refused(422, f"A meter reading cannot be understood: {error}.") from error
    return Announcement(
        size_bytes=told.size_bytes,
        file_name=re.split(r"[/\\]", told.file_name)[-1] or "recording",
        reference=told.reference,
        profile=told.profile,
        readings=readings,
    )


@router.get("/uploads/{upload_id}")
def progress(upload_id: UploadId, who: Anyone, desk: DeskHere) -> Progress:
    """How far an upload got."""
    return _progress(desk, *desk.intake.progress(who.person, upload_id))


@router.patch(
    "/uploads/{upload_id}",
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {
                "application/octet-stream": {"schema": {"type": "string", "format": "binary"}}
            },
        }
    },
)
async def append(
    upload_id: UploadId,
    request: Request,
    who: Sender,
    desk: DeskHere,
    upload_offset: Annotated[int, Header(ge=0, le=2**40)],
) -> Progress:
    """Send the bytes from `Upload-Offset` on, which must be where the upload ends."""
    intake = desk.intake
    offset, size = await intake.aside(intake.progress, who.person, upload_id)
    if offset < size or upload_offset != offset:
        end = await intake.append(size, upload_id, upload_offset, request.stream())
        desk.metrics.received.inc(end - upload_offset)
        offset = end
    return _progress(desk, offset, size)


@router.post("/uploads/{upload_id}/finish", status_code=201)
async def finish(
    upload_id: UploadId, told: Finished, request: Request, who: Sender, desk: DeskHere
) -> JobMade:
    """Make a job of a complete upload; asked again, it names the same job."""
    options = {"sha256": told.sha256, "address": address_of(request)}
    made = await desk.intake.aside(desk.intake.finish, who.person, upload_id, **options)
    return JobMade(job=made)


@router.delete("/uploads/{upload_id}", status_code=204, response_class=Response)
async def abandon(upload_id: UploadId, who: Sender, desk: DeskHere) -> Response:
    """Throw an unfinished upload away."""
    await desk.intake.aside(desk.intake.abandon, who.person, upload_id)
    return Response(status_code=204)


def _progress(desk: Desk, offset: int, size: int) -> Progress:
    most = desk.settings.max_part_bytes
    return Progress(offset_bytes=offset, size_bytes=size, part_bytes=min(most, 2**20))


@router.get("/jobs")
def jobs(
    who: Anyone,
    desk: DeskHere,
    state: listing.State = "",
    verdict: listing.Verdict = "",
    text: Annotated[str, Query(max_length=80)] = "",
    order: listing.Order = "newest",
    after: Annotated[str, Query(max_length=120)] = "",
) -> JobList:
    """Jobs that the person may see, page by page."""
    wanted = listing.Wanted(state=state, verdict=verdict, text=text, order=order, after=after)
    with desk.database.read() as connection:
        found = listing.list_jobs(connection, who.person, wanted)
    return JobList(jobs=[_short(row) for row in found.rows], after=found.after)


@router.get("/jobs/{job_id}")
def job(job_id: JobId, who: Anyone, desk: DeskHere) -> JobWhole:
    """One job with its findings."""
    with desk.database.read() as connection:
        row = found_or_refused(listing.find_job(connection, who.person, job_id))
        found = listing.findings_of(connection, job_id)
    return JobWhole(
        **_short(row).model_dump(),
        message=row.message,
        findings=[FindingTold.model_validate(each, from_attributes=True) for each in found],
    )


@router.put("/jobs/{job_id}/findings/{number}/label", status_code=204, response_class=Response)
def put_label(
    job_id: JobId,
    number: Annotated[int, Path(ge=0, le=10_000)],
    told: Label,
    who: Reviewer,
    desk: DeskHere,
) -> Response:
    """Agree or disagree with a finding."""
    with desk.database.write() as connection:
        row = found_or_refused(listing.find_job(connection, who.person, job_id))
        done = review.put_label(connection, who.person, row, number, agrees=told.agrees)
    found_or_refused(done or None, "finding")
    return Response(status_code=204)


@router.post("/jobs/{job_id}/notes", status_code=204, response_class=Response)
def add_note(job_id: JobId, told: NewNote, who: Reviewer, desk: DeskHere) -> Response:
    """Leave a note for colleagues."""
    with desk.database.write() as connection:
        found_or_refused(listing.find_job(connection, who.person, job_id))
        review.add_note(connection, who.person, job_id, told.text)
    return Response(status_code=204)


def _short(row: Any) -> JobShort:
    return JobShort(**{name: getattr(row, name) for name in JobShort.model_fields})
