"""What routes share: the desk's parts, who is asking, and whether they may.

Annotations are evaluated here, not kept as text: those of a dependency made inside a function name
what only that function knows.
"""

import hmac
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Annotated, Any, cast

from fastapi import Depends, Header, Request

from spinlab.desk.accounts import Role
from spinlab.desk.database import Database
from spinlab.desk.intake import Intake, Refused
from spinlab.desk.metrics import Metrics
from spinlab.desk.settings import Settings
from spinlab.desk.signing import SignIn, signed_in
from spinlab.desk.throttle import LINK, REQUEST, Limit, Throttle
from spinlab.desk.vault import Vault
from spinlab.desk.web.guard import client_address

# The prefix binds the cookie to this host, to https and to the whole site (RFC 6265bis, 4.1.3.2).
COOKIE = "__Host-desk"
FORM_COOKIE = "__Host-desk-form"


class MustChange(Exception):
    """The person's first password opens nothing but the page where it is changed."""


class NotSignedIn(Exception):
    """Nobody is signed in; pages lead to the sign-in, the interface answers 401."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Desk:
    """The parts of one running service."""

    settings: Settings
    database: Database
    vault: Vault
    metrics: Metrics
    throttle: Throttle = field(default_factory=Throttle)

    @cached_property
    def intake(self) -> Intake:
        """Takes uploads."""
        return Intake(self.settings, self.database, self.vault)


# What asks neither disk nor database is a coroutine: each plain function among the dependencies
# costs a request a way to another thread and back, past everything else the server has in hand.
async def desk_of(request: Request) -> Desk:
    """The service that this request reached."""
    return _desk(request)


def _desk(request: Request) -> Desk:
    return cast(Desk, request.app.state.desk)


def address_of(request: Request) -> str:
    """The caller's address."""
    return client_address(request.scope)


def spend(desk: Desk, limit: Limit, caller: str) -> None:
    """Take one permit.

    Raises:
        Refused: there is none left for now.
    """
    wait_s = desk.throttle.wait_s(limit, caller)
    if wait_s:
        raise Refused(429, f"Too many requests; wait {max(1, round(wait_s))} s and try again.")


def signed(request: Request) -> SignIn:
    """Who is signed in, with a password of their own.

    Raises:
        NotSignedIn: nobody.
        MustChange: the password is still the one that was drawn for them.
        Refused: more requests than the limit.
    """
    found = newly_signed(request)
    if found.person.must_change:
        raise MustChange
    return found


def newly_signed(request: Request) -> SignIn:
    """Who is signed in, be it with a first password."""
    desk = _desk(request)
    token = request.cookies.get(COOKIE, "")
    found = signed_in(desk.database, desk.settings, token)
    if found is None:
        if token:
            spend(desk, LINK, f"token {address_of(request)}")
        raise NotSignedIn
    spend(desk, REQUEST, found.person.id)
    request.state.account_id = found.person.id
    return found


def only(*roles: Role) -> Callable[..., Awaitable[SignIn]]:
    """A dependency that lets in these roles alone."""

    async def check(who: Annotated[SignIn, Depends(signed)]) -> SignIn:
        if who.person.role not in roles:
            raise Refused(403, "Your account may not do this.")
        return who

    return check


def check_form(who: SignIn, csrf: str) -> None:
    """Make sure that a form is one of ours.

    Raises:
        Refused: it is not, or the sign-in has changed since it was opened.
    """
    if not hmac.compare_digest(csrf.encode("utf-8", "replace"), who.csrf.encode("ascii")):
        raise Refused(403, "This form is out of date; open the page again.")


def changing(*roles: Role) -> Callable[..., Awaitable[SignIn]]:
    """Like `only`, for requests of the interface that change something."""

    async def check(
        who: Annotated[SignIn, Depends(only(*roles))],
        x_csrf_token: Annotated[str, Header()] = "",
    ) -> SignIn:
        check_form(who, x_csrf_token)
        return who

    return check


DeskHere = Annotated[Desk, Depends(desk_of)]
Anyone = Annotated[SignIn, Depends(signed)]
Newcomer = Annotated[SignIn, Depends(newly_signed)]
Technician = Annotated[SignIn, Depends(only("technician", "support"))]
Support = Annotated[SignIn, Depends(only("support"))]
Trainer = Annotated[SignIn, Depends(only("trainer", "support"))]


def found_or_refused(row: Any, what: str = "job") -> Any:
    """The row.

    Raises:
        Refused: there is none, or it is none of this person's business: the answer is the same.
    """
    if row is None:
        raise Refused(404, f"There is no such {what}.")
    return row
