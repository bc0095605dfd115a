"""Pages of signing in and out, and of one's own password."""

from __future__ import annotations

import hmac
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from spinlab.desk import accounts
from spinlab.desk.identity import new_token
from spinlab.desk.signing import SignIn, sign_in, sign_out
from spinlab.desk.throttle import SIGN_IN, SIGN_IN_NAME
from spinlab.desk.web.render import page
from spinlab.desk.web.state import (
    COOKIE,
    FORM_COOKIE,
    Anyone,
    DeskHere,
    Newcomer,
    address_of,
    check_form,
    spend,
)
from spinlab.errors import InputError

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
    spend(desk, SIGN_IN_NAME, name)
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
    request: Request, who: Newcomer, desk: DeskHere, csrf: Annotated[str, Form()] = ""
) -> Response:
    """End the sign-in here and on the server."""
    check_form(who, csrf)
    sign_out(desk.database, request.cookies.get(COOKIE, ""))
    answer = see_other("/sign-in")
    _drop(answer, COOKIE)
    answer.headers["Clear-Site-Data"] = '"cache", "cookies", "storage"'
    return answer


@router.get("/password")
def password_page(who: Newcomer) -> Response:
    """Choose a password of one's own."""
    return _password_page(who, "", 200)


def _password_page(who: SignIn, problem: str, status: int) -> Response:
    shortest = accounts.SHORTEST_PASSWORD
    return page("password.html", who, status=status, problem=problem, shortest=shortest)


@router.post("/password")
def take_password(
    request: Request,
    who: Newcomer,
    desk: DeskHere,
    current: Annotated[str, Form(max_length=1000)] = "",
    password: Annotated[str, Form(max_length=1000)] = "",
    again: Annotated[str, Form(max_length=1000)] = "",
    csrf: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Change the password of whoever still knows the old one, and end all other sign-ins."""
    check_form(who, csrf)
    spend(desk, SIGN_IN, f"password {who.person.id}")
    with desk.database.read() as connection:
        _, kept = accounts.find_hash(connection, who.person.name)
    if not accounts.matches(current, kept):
        return _password_page(who, "The current password is not right.", 403)
    if not hmac.compare_digest(password.encode(), again.encode()):
        return _password_page(who, "The two new passwords differ.", 422)
    if password == current:
        return _password_page(who, "The new password is the old one.", 422)
    try:
        with desk.database.write() as connection:
            accounts.change_password(connection, who.person, password)
    except InputError as error:
        return _password_page(who, str(error), 422)
    token = sign_in(desk.database, who.person.name, password, address=address_of(request))
    answer = see_other("/")
    _set(answer, COOKIE, token or "", "lax")
    return answer
