"""Pages of the technician: record or upload, the own jobs, and signing in and out."""

from __future__ import annotations

import uuid
from collections.abc import AsyncIterator
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from spinlab.desk import listing
from spinlab.desk.identity import new_token
from spinlab.desk.intake import CONSENT_SENTENCE, Refused
from spinlab.desk.profiles import profile_names
from spinlab.desk.signing import SignIn, sign_in, sign_out
from spinlab.desk.throttle import SIGN_IN
from spinlab.desk.web.api import Told, announcement
from spinlab.desk.web.render import page
from spinlab.desk.web.state import (
    COOKIE,
    FORM_COOKIE,
    Anyone,
    Desk,
    DeskHere,
    Technician,
    address_of,
    check_form,
    spend,
)

router = APIRouter(include_in_schema=False)
HOME = {"technician": "/record", "support": "/queue", "trainer": "/cases"}


def _set(answer: Response, name: str, value: str, same_site: Literal["lax", "strict"]) -> None:
    answer.set_cookie(name, value, secure=True, httponly=True, path="/", samesite=same_site)


def _drop(answer: Response, name: str) -> None:
    answer.delete_cookie(name, secure=True, httponly=True, path="/")


def see_other(address: str) -> RedirectResponse:
    """Send the browser on after a form."""
    return RedirectResponse(address, status_code=303)


@router.get("/")
def home(who: Anyone) -> Response:
    """Lead everyone to where their work is."""
    return see_other(HOME[who.person.role])


@router.get("/sign-in")
def sign_in_page() -> Response:
    """Ask for name and password."""
    return _sign_in_page("", 200)


def _sign_in_page(problem: str, status: int) -> Response:
    token = new_token()
    answer = page("sign_in.html", None, status=status, problem=problem, form_token=token)
    _set(answer, FORM_COOKIE, token, "strict")
    return answer


@router.post("/sign-in")
def take_sign_in(
    request: Request,
    desk: DeskHere,
    name: Annotated[str, Form(max_length=200)] = "",
    password: Annotated[str, Form(max_length=1000)] = "",
    form_token: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Let in who knows the password."""
    if not form_token or form_token != request.cookies.get(FORM_COOKIE):
        return _sign_in_page("The form was out of date; please try again.", 403)
    address = address_of(request)
    spend(desk, SIGN_IN, f"address {address}")
    spend(desk, SIGN_IN, f"name {name}")
    token = sign_in(desk.database, name, password, address=address)
    if token is None:
        return _sign_in_page("Name and password do not fit.", 401)
    old = request.cookies.get(COOKIE)
    if old:
        sign_out(desk.database, old)
    answer = see_other("/")
    # "lax", so that a link in a message still finds the person signed in.
    _set(answer, COOKIE, token, "lax")
    _drop(answer, FORM_COOKIE)
    return answer


@router.post("/sign-out")
def take_sign_out(
    request: Request, who: Anyone, desk: DeskHere, csrf: Annotated[str, Form()] = ""
) -> Response:
    """End the sign-in here and on the server."""
    check_form(who, csrf)
    sign_out(desk.database, request.cookies.get(COOKIE, ""))
    answer = see_other("/sign-in")
    _drop(answer, COOKIE)
    answer.headers["Clear-Site-Data"] = '"cache", "cookies", "storage"'
    return answer


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
    await run_in_threadpool(intake.announce, who.person, upload_id, told_checked)

    async def blocks() -> AsyncIterator[bytes]:
        while block := await file.read(2**20):
            yield block

    await intake.append(told.size_bytes, upload_id, 0, blocks())
    return await run_in_threadpool(lambda: intake.finish(who.person, upload_id, address=address))


@router.get("/mine")
def mine(who: Technician, desk: DeskHere, after: str = "") -> Response:
    """The technician's own jobs, newest first."""
    with desk.database.read() as connection:
        found = listing.list_jobs(connection, who.person, listing.Wanted(after=after[:120]))
    return page("mine.html", who, rows=found.rows, after=found.after)
