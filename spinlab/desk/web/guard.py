"""What every request passes through, whatever route it takes.

Host and origin are checked, the body is counted while it arrives, answers carry their headers of
protection, and one line of log and one count of metrics tell how it went.
"""

from __future__ import annotations

import logging
import secrets
import time
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from spinlab.desk.metrics import Metrics
from spinlab.desk.settings import Settings
from spinlab.desk.web.precedence import Precedence

LOG = logging.getLogger("spinlab.desk.web")
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
# A form of ours never comes near this.
LARGEST_FORM_BYTES = 64 * 1024

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "media-src 'self' blob:; connect-src 'self'; frame-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not "no-referrer": it makes browsers send our own forms with the origin "null" (Fetch, 3.2).
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "microphone=(self), camera=(), geolocation=(), payment=()",
    "Cache-Control": "no-store",
    "X-Robots-Tag": "noindex, nofollow",
    "Strict-Transport-Security": "max-age=63072000",
}


class TooMuch(Exception):
    """More bytes came than this route takes."""


class Guard:
    """The outermost layer of the application."""

    def __init__(self, app: ASGIApp, *, settings: Settings, metrics: Metrics) -> None:
        self.app, self.settings, self.metrics = app, settings, metrics
        self.precedence = Precedence()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass one request on, or refuse it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        seen = _Seen(scope)
        answer = _answering(send, seen)
        refusal = self._refusal(scope)
        try:
            if refusal is not None:
                await refusal(scope, receive, answer)
            else:
                await self._pass_on(scope, receive, answer, seen)
        finally:
            self._tell(scope, seen)

    async def _pass_on(self, scope: Scope, receive: Receive, answer: Send, seen: _Seen) -> None:
        limited = _limited(receive, self._most(scope))
        try:
            if _is_upload(scope):
                await self._give_way(scope, limited, answer)
            elif scope["method"] in ("GET", "HEAD"):
                await self._go_first(scope, limited, answer)
            else:
                # Neither: a form that is slow to come must not hold up uploads.
                await self.app(scope, limited, answer)
        except TooMuch:
            if not seen.status:
                await _plain(413, "The request is larger than this page takes.")(
                    scope, receive, answer
                )
        except Exception:
            LOG.exception("defect", extra={"request": seen.request})
            if not seen.status:
                await _plain(500, f"A defect of the desk; tell support: {seen.request}.")(
                    scope, receive, answer
                )

    async def _go_first(self, scope: Scope, receive: Receive, send: Send) -> None:
        making = True

        async def answer(message: Message) -> None:
            nonlocal making
            if making:
                # Made; how long it takes to send is the reader's network, and holds up nobody.
                making = False
                self.precedence.end()
            await send(message)

        self.precedence.begin()
        try:
            await self.app(scope, receive, answer)
        finally:
            if making:
                self.precedence.end()

    async def _give_way(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def after_pages() -> Message:
            await self.precedence.give_way()
            return await receive()

        await self.precedence.give_way()
        await self.app(scope, after_pages, send)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if _name(host) not in self.settings.hosts:
            return _plain(421, "The desk is not called by this name.")
        if scope["method"] not in SAFE_METHODS and not _same_site(headers, host):
            return _plain(403, "The request came from another site.")
        try:
            length = int(headers.get("content-length", "0"))
        except ValueError:
            return _plain(400, "The length of the request makes no sense.")
        if length > self._most(scope):
            return _plain(413, "The request is larger than this page takes.")
        return None

    def _most(self, scope: Scope) -> int:
        path, method = scope["path"], scope["method"]
        if method == "PATCH" and path.startswith("/api/uploads/"):
            return self.settings.max_part_bytes
        if method == "POST" and path == "/record":
            return self.settings.max_upload_bytes + LARGEST_FORM_BYTES
        return LARGEST_FORM_BYTES

    def _tell(self, scope: Scope, seen: _Seen) -> None:
        seconds = time.perf_counter() - seen.began
        route = getattr(scope.get("route"), "path", None) or (
            "/static" if scope["path"].startswith("/static/") else "none"
        )
        method = scope["method"] if scope["method"] in _METHODS else "other"
        self.metrics.saw(method, route, seen.status, seconds)
        fields = {
            "request": seen.request,
            "method": method,
            "route": route,
            "status": seen.status,
            "ms": round(1000 * seconds, 1),
            "account": scope.get("state", {}).get("account_id", ""),
            "address": client_address(scope),
        }
        LOG.info("request", extra=fields)


_METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE")


class _Seen:
    """What is known of one request while it is answered."""

    def __init__(self, scope: Scope) -> None:
        self.began, self.status, self.request = time.perf_counter(), 0, secrets.token_hex(8)
        scope.setdefault("state", {})["request"] = self.request


def _is_upload(scope: Scope) -> bool:
    """Whether bytes of a recording come with it, or it is about them."""
    path: str = scope["path"]
    return path.startswith("/api/uploads/") or (scope["method"], path) == ("POST", "/record")


def _answering(send: Send, seen: _Seen) -> Send:
    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            seen.status = message["status"]
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers["X-Request-Id"] = seen.request
        await send(message)

    return answer


def _limited(receive: Receive, most: int) -> Callable[[], Any]:
    taken = 0

    async def limited() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most:
            raise TooMuch
        return message

    return limited


def _same_site(headers: Headers, host: str) -> bool:
    """Whether a changing request comes from our own pages, as the browser itself says."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc == host


def _name(host: str) -> str:
    return host.rsplit(":", 1)[0] if not host.endswith("]") else host


def _plain(status: int, sentence: str) -> PlainTextResponse:
    return PlainTextResponse(sentence, status_code=status)


def client_address(scope: Scope) -> str:
    """The caller's address, as far as the server was told."""
    client = scope.get("client")
    return str(client[0]) if client else ""
