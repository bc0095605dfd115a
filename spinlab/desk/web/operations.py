"""For those who run the desk: health and metrics."""

from __future__ import annotations

import hmac

from fastapi import APIRouter, Request
from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError
from starlette.responses import JSONResponse, Response

from spinlab.desk.web.state import DeskHere, address_of, found_or_refused

router = APIRouter(include_in_schema=False)
_LOOPBACK = ("127.0.0.1", "::1", "testclient")


@router.get("/healthz")
def health(desk: DeskHere) -> Response:
    """Whether the desk can take and find things; says nothing else to strangers."""
    try:
        with desk.database.read() as connection:
            connection.execute(text("SELECT 1"))
        room = desk.vault.free_bytes() > desk.settings.spare_bytes
    except (SQLAlchemyError, OSError):
        return JSONResponse({"status": "database away"}, status_code=503)
    if not room:
        return JSONResponse({"status": "disk full"}, status_code=503)
    return JSONResponse({"status": "fine"})


@router.get("/metrics")
def metrics(request: Request, desk: DeskHere) -> Response:
    """Metrics, to callers on this computer or with the token."""
    wanted, given = desk.settings.metrics_token, request.headers.get("authorization", "")
    if wanted:
        allowed = hmac.compare_digest(given.encode(), f"Bearer {wanted}".encode())
    else:
        allowed = address_of(request) in _LOOPBACK and "x-forwarded-for" not in request.headers
    found_or_refused(allowed or None, "page")
    body = desk.metrics.text(desk.database, desk.vault)
    return Response(body, media_type="text/plain; version=0.0.4; charset=utf-8")
