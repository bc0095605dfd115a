"""What self-contained pages share: templates, and a policy that lets only their own parts in."""

from __future__ import annotations

import base64
import hashlib
from importlib import resources
from typing import TYPE_CHECKING, Any

from spinlab.report import stage_words, words
from spinlab.report.language import current, tell
from spinlab.report.typeset import bound

if TYPE_CHECKING:
    from jinja2 import Template


# Longer text is a picture or a sound.
_LONGEST_SENTENCE = 4000


def text_of(name: str) -> str:
    """One of the templates, styles or scripts that travel with the package."""
    shared = resources.files("spinlab") / "looks" / name
    own = resources.files("spinlab.report") / "templates" / name
    return (own if own.is_file() else shared).read_text("utf-8")


def style_of(*names: str) -> str:
    """A page's style: the colours that all pages share, then its own sheets."""
    return "".join(map(text_of, ("palette.css", *names)))


def policy(style: str, script: str = "") -> str:
    """Content security policy: our own style and script by their hashes, embedded media, no more.

    Args:
        style: the page's one style sheet.
        script: its one script, if it has one.
    """
    allowed = f"'{_digest(script)}'" if script else "'none'"
    return (
        "default-src 'none'; img-src data:; media-src data: blob:; "
        f"style-src '{_digest(style)}'; script-src {allowed}; base-uri 'none'; form-action 'none'"
    )


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()


def template(name: str) -> Template:
    """A page's template, escaping on and undefined names refused."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    environment = Environment(
        loader=FunctionLoader(text_of),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_bound,
    )
    return environment.get_template(name)


def _bound(value: Any) -> Any:
    """What a template puts in; no line of the page ends between a number and its unit."""
    short = type(value) is str and len(value) < _LONGEST_SENTENCE
    return bound(value) if short else value


def rendered(name: str, style: str, script: str = "", **content: Any) -> str:
    """A page from its template, in the language of this context."""
    return template(name).render(
        style=style,
        script=script,
        policy=policy(style, script),
        words=words,
        stage_words=stage_words,
        _=tell,
        language=current().code,
        **content,
    )
