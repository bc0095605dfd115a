"""Structured logs: one JSON object a line, made of fields that were named on purpose.

Addresses of pages are logged by their pattern ("/r/{token}"), never as called, so that no token,
search or reference gets into a log.  Passwords, cookies, tokens, notes and file names are never
handed to a logger; `tests/desk/test_logs.py` runs the whole path and looks for them.
"""

from __future__ import annotations

import json
import logging
import sys
import time
from typing import Any, TextIO

_FIELDS = (
    "request", "method", "route", "status", "ms", "account", "address", "job", "ended", "seconds",
    "kept", "code",
)  # fmt: skip


class JsonLines(logging.Formatter):
    """A formatter that writes the fields above and drops everything else."""

    def format(self, record: logging.LogRecord) -> str:
        """One line of JSON."""
        line: dict[str, Any] = {
            "time": time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(record.created))
            + f".{int(record.msecs):03d}Z",
            "level": record.levelname.lower(),
            "logger": record.name,
            "event": record.getMessage(),
        }
        line |= {name: getattr(record, name) for name in _FIELDS if name in record.__dict__}
        if record.exc_info and record.exc_info[1] is not None:
            line["error"] = type(record.exc_info[1]).__name__
            line["at"] = _places(record.exc_info[1])
        return json.dumps(line, ensure_ascii=True, default=str)


def _places(error: BaseException) -> list[str]:
    """Files and lines of a trace, without its message or its values: they may hold secrets."""
    places, trace = [], error.__traceback__
    while trace is not None:
        code = trace.tb_frame.f_code
        places.append(f"{'/'.join(code.co_filename.split('/')[-2:])}:{trace.tb_lineno}")
        trace = trace.tb_next
    return places[-8:]


def set_up(stream: TextIO | None = None) -> None:
    """Send the log of this process to `stream` (standard error) as lines of JSON."""
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(JsonLines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger("spinlab.desk").setLevel(logging.INFO)
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access", "alembic"):
        logger = logging.getLogger(name)
        logger.handlers[:] = []
        logger.propagate = True
        logger.setLevel(logging.WARNING)
