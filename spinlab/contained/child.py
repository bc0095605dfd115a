"""The child's side: jobs as lines of JSON on standard input, answers likewise on standard output.

The child's first line says `{"ready": true}`.  A job is
`{"function": "module:name", "arguments": [...], "options": {...}}`; an answer is
`{"value": ...}` or `{"raised": {"class": ..., "message": ..., "place": ...}}`.
"""

from __future__ import annotations

import importlib
import json
import os
import queue
import shutil
import signal
import threading
from collections.abc import Callable
from typing import IO, Any

from spinlab.contained.limits import Limits, limit_next_job, limit_process
from spinlab.errors import SpinlabError, printable

READY = b'{"ready": true}\n'
LONGEST_MESSAGE = 2000


def serve(limits: Limits, scratch: str) -> None:
    """Answer jobs until the parent closes its end or dies; never returns.

    Args:
        limits: put on this process before the first job.
        scratch: folder of this process's own, removed at its end.
    """
    # The terminal's Ctrl-C is the parent's to answer.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    jobs, answers = _private_streams()
    limit_process(limits)
    inbox: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    answers.write(READY)
    answers.flush()
    threading.Thread(target=_listen, args=(jobs, inbox, scratch), daemon=True).start()
    while True:
        job = json.loads(inbox.get())
        limit_next_job(limits)
        answers.write(_answer(job))
        answers.flush()


def _private_streams() -> tuple[IO[bytes], IO[bytes]]:
    """Keep standard input and output for ourselves: a library that prints must not garble them."""
    jobs, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    os.dup2(2, 1)
    return jobs, answers


def _listen(jobs: IO[bytes], inbox: queue.SimpleQueue[bytes], scratch: str) -> None:
    """Pass jobs on; when the parent is gone, however that happened, end at once."""
    for line in jobs:
        inbox.put(line)
    shutil.rmtree(scratch, ignore_errors=True)
    os._exit(0)


def _answer(job: dict[str, Any]) -> bytes:
    """The answer's line; whatever the job raises becomes an answer too."""
    try:
        value = _function(job["function"])(*job["arguments"], **job["options"])
        answer = json.dumps({"value": value}, allow_nan=False)
    except BaseException as error:
        answer = json.dumps({"raised": _raised(error)})
    return answer.encode("utf-8") + b"\n"


def _function(name: str) -> Callable[..., Any]:
    module, _, path = name.partition(":")
    found: Any = importlib.import_module(module)
    for part in path.split("."):
        found = getattr(found, part)
    function: Callable[..., Any] = found
    return function


def _raised(error: BaseException) -> dict[str, str]:
    known = isinstance(error, SpinlabError | MemoryError)
    kind = "MemoryError" if isinstance(error, MemoryError) else type(error).__name__
    return {
        "class": kind if known else "defect",
        "message": (str(error) if known else f"{kind}: {printable(error)}")[:LONGEST_MESSAGE],
        "place": "" if known else _place(error),
    }


def _place(error: BaseException) -> str:
    """Folder, file and line of the deepest frame of spinlab's own."""
    trace, place = error.__traceback__, "an unknown place"
    while trace is not None:
        folder, file = os.path.split(trace.tb_frame.f_code.co_filename)
        if f"{os.sep}spinlab{os.sep}" in f"{folder}{os.sep}" and file != "child.py":
            place = f"{os.path.basename(folder)}/{file}, line {trace.tb_lineno}"
        trace = trace.tb_next
    return place
