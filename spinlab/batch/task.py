"""One recording's work, as it runs inside a contained child: read, analyse, write, sum up."""

from __future__ import annotations

import hashlib
import importlib
import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from spinlab.batch.summary import summarise
from spinlab.errors import OutputError, printable
from spinlab.report.output import write_whole

# Path of the recording, profile or None, whether a page is wanted -> (result as JSON, page as
# HTML or None).
Examine = Callable[[str, str | None, bool], tuple[str, str | None]]


@dataclass(frozen=True, kw_only=True)
class Task:
    """One piece of work.

    Attributes:
        key: names the work and its results: hash of the content, hash of the conditions.
        sha256: hash of the content that was seen when the work was planned.
        path: the recording.
        profile: what `load_machine` is given, or None.
        result: where the result goes.
        page: where the page goes, or None.
        examine: the function that does the analysis, as "module:name".
    """

    key: str
    sha256: str
    path: str
    profile: str | None
    result: str
    page: str | None
    examine: str


def examine(path: str, profile: str | None, page: bool) -> tuple[str, str | None]:
    """Read and analyse one recording: its result as JSON, and its page if one is wanted.

    Raises:
        InputError: the recording or the profile cannot be used.
    """
    from spinlab.analysis import analyse
    from spinlab.machine import load_machine
    from spinlab.reading import read
    from spinlab.report.json_output import json_text
    from spinlab.report.page import page_html

    machine = None if profile is None else load_machine(profile)
    analysis = analyse(read(path), machine)
    return json_text(analysis), page_html(analysis) if page else None


def perform(task: dict[str, Any]) -> dict[str, Any]:
    """Do a `Task`, given as a dictionary.

    Returns:
        The summary as a dictionary; {"changed": True} where the file's content is no longer the
        one that the task is about.

    Raises:
        InputError: the recording or the profile cannot be used.
        OutputError: a result cannot be written.
    """
    wanted = Task(**task)
    module, _, name = wanted.examine.partition(":")
    work: Examine = getattr(importlib.import_module(module), name)
    text, page = work(wanted.path, wanted.profile, wanted.page is not None)
    result = json.loads(text)
    if result["recording"]["sha256"] != wanted.sha256:
        return {"changed": True}
    summary = asdict(summarise(result))
    # The result is written last: where it is, the page is.
    if wanted.page is not None and page is not None:
        _write(Path(wanted.page), page)
    _write(Path(wanted.result), text)
    return summary


def sha256_of(path: Path) -> str:
    """Hash of a file's content, read as a stream.

    Raises:
        OSError: it cannot be read.
    """
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _write(target: Path, text: str) -> None:
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"{printable(target.parent)} cannot be made: {error.strerror}."
        ) from error
    write_whole(target, text.encode("utf-8"))
