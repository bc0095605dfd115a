"""Pages from templates, escaped throughout; nothing inline, so that the policy can be strict."""

from __future__ import annotations

import time
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from starlette.responses import HTMLResponse

from spinlab.desk.signing import SignIn

if TYPE_CHECKING:
    from jinja2 import Environment

# The report's own words (a test holds them to it), repeated so that the server need not load all of
# the analysis for them.
STATE_WORDS = {
    "clear": "Fine",
    "attention": "Attention",
    "fault": "Fault found",
    "not measurable": "Not measurable",
}
STATE_OF_JOB = {
    "waiting": "Waiting",
    "running": "Being analysed",
    "done": "Done",
    "failed": "Could not be analysed",
}


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    environment = Environment(
        loader=FunctionLoader(_template),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"moment": moment, "size": size, "percent": percent}
    environment.globals |= {"STATE_WORDS": STATE_WORDS, "STATE_OF_JOB": STATE_OF_JOB}
    return environment


def _template(name: str) -> str:
    """A page of the desk's own, or the icons that it shares with the report."""
    shared = resources.files("spinlab") / "looks" / name
    own = resources.files("spinlab.desk.web") / "templates" / name
    return (own if own.is_file() else shared).read_text("utf-8")


def prepare() -> None:
    """Have every template compiled, so that no first reader of a page waits for it."""
    environment = _environment()
    for each in (resources.files("spinlab.desk.web") / "templates").iterdir():
        environment.get_template(each.name)


def page(name: str, who: SignIn | None, *, status: int = 200, **content: Any) -> HTMLResponse:
    """One page; `who` decides what the head of it offers."""
    text = _environment().get_template(name).render(who=who, **content)
    return HTMLResponse(text, status_code=status)


def moment(time_s: float | None) -> str:
    """A time for people: to the minute, in UTC, and said so."""
    if time_s is None:
        return "–"
    return time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(time_s))


def size(count: int) -> str:
    """Bytes in the unit that leaves a readable number."""
    if count < 1_000_000:
        return f"{max(1, round(count / 1000))} kB"
    return f"{count / 1e6:.1f} MB"


def percent(share: float | None) -> str:
    """A probability for people."""
    if share is None:
        return "no number"
    if share < 0.001:
        return "under 0.1 %"
    return f"{100 * share:.1f} %" if share < 0.1 else f"{100 * share:.0f} %"
