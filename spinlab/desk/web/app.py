"""The application put together."""

from __future__ import annotations

from importlib import resources

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from sqlalchemy.exc import OperationalError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.staticfiles import StaticFiles

from spinlab.desk.database import Database
from spinlab.desk.intake import Refused
from spinlab.desk.metrics import Metrics
from spinlab.desk.settings import Settings
from spinlab.desk.vault import Vault
from spinlab.desk.web import api, operations, people, results, support, technician
from spinlab.desk.web.guard import Guard
from spinlab.desk.web.render import page
from spinlab.desk.web.state import Desk, MustChange, NotSignedIn


def create_app(settings: Settings, database: Database) -> FastAPI:
    """The service over an open, migrated database."""
    from spinlab import __version__

    app = FastAPI(
        title="spinlab desk",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
    )
    metrics = Metrics()
    vault = Vault(settings.folder)
    app.state.desk = Desk(settings=settings, database=database, vault=vault, metrics=metrics)
    app.add_middleware(Guard, settings=settings, metrics=metrics)
    for room in (api, people, technician, support, results, operations):
        app.include_router(room.router)
    looks = resources.files("spinlab") / "looks"
    app.mount("/static/looks", StaticFiles(directory=str(looks)))
    static = resources.files("spinlab.desk.web") / "static"
    app.mount("/static", StaticFiles(directory=str(static)))
    app.exception_handler(Refused)(_refused)
    app.exception_handler(NotSignedIn)(_not_signed_in)
    app.exception_handler(MustChange)(_must_change)
    app.exception_handler(OperationalError)(_busy)
    app.exception_handler(HTTPException)(_http)
    app.exception_handler(RequestValidationError)(_unfit)
    return app


def _say(request: Request, status: int, sentence: str, headers: dict[str, str]) -> Response:
    if request.url.path.startswith("/api/"):
        return JSONResponse({"sentence": sentence}, status_code=status, headers=headers)
    answer = page("problem.html", None, status=status, sentence=sentence)
    answer.headers.update(headers)
    return answer


def _refused(request: Request, error: Refused) -> Response:
    headers = {} if error.offset is None else {"Upload-Offset": str(error.offset)}
    if error.status == 429:
        headers["Retry-After"] = "5"
    return _say(request, error.status, error.sentence, headers)


def _not_signed_in(request: Request, _: NotSignedIn) -> Response:
    if request.url.path.startswith("/api/"):
        return _say(request, 401, "Nobody is signed in; sign in and try again.", {})
    return RedirectResponse("/sign-in", status_code=303)


def _must_change(request: Request, _: MustChange) -> Response:
    if request.url.path.startswith("/api/"):
        return _say(request, 403, "Change your first password before anything else.", {})
    return RedirectResponse("/password", status_code=303)


def _busy(request: Request, _: OperationalError) -> Response:
    """The database is away, or others kept it for longer than one waits for a turn."""
    sentence = "The desk is too busy just now; try again in a moment."
    return _say(request, 503, sentence, {"Retry-After": "5"})


def _http(request: Request, error: HTTPException) -> Response:
    sentence = {
        404: "There is no such page.",
        405: "This page cannot be asked for in this way.",
    }.get(error.status_code, "The request makes no sense.")
    return _say(request, error.status_code, sentence, dict(error.headers or {}))


def _unfit(request: Request, error: RequestValidationError) -> Response:
    """Name the field and what is wrong with it; never repeat what was sent."""
    first = error.errors()[0] if error.errors() else {"loc": (), "msg": "unfit"}
    place = ".".join(str(part) for part in first["loc"][1:]) or "the request"
    return _say(request, 422, f"{place[:80]}: {first['msg'][:200]}.", {})
