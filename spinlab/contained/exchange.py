"""One job handed to a child and its answer taken back, as lines of JSON, within a time."""

from __future__ import annotations

import json
import subprocess
import threading
from collections.abc import Callable
from typing import Any

from spinlab.contained.launch import kill

# An answer is a summary; one longer than this comes from a child that has gone astray.
LARGEST_ANSWER_BYTES = 64 * 2**20


class Deadline:
    """Kills the child if a job takes too long, and never after the job is over."""

    def __init__(self, process: subprocess.Popen[bytes], wall_s: float | None) -> None:
        self.missed = False
        self._process = process
        self._over = False
        self._lock = threading.Lock()
        self._timer = None if wall_s is None else threading.Timer(wall_s, self._miss)

    def __enter__(self) -> Deadline:
        if self._timer is not None:
            self._timer.daemon = True
            self._timer.start()
        return self

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._over = True
        if self._timer is not None:
            self._timer.cancel()

    def _miss(self) -> None:
        with self._lock:
            if not self._over:
                self.missed = True
                kill(self._process)


def name_of(function: Callable[..., Any]) -> str:
    """What a child finds a function by: its module and its name there."""
    module = getattr(function, "__module__", None)
    path = getattr(function, "__qualname__", "<")
    if module in (None, "__main__") or "<" in path:
        raise ValueError(
            f"{path} cannot be found by a child process: define it at the top of a module that "
            "can be imported."
        )
    return f"{module}:{path}"


def exchange(process: subprocess.Popen[bytes], line: bytes) -> bytes:
    """Send a job and read its answer; what is read ends in no line feed if the child died."""
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        process.stdin.write(line)
        process.stdin.flush()
        return process.stdout.readline(LARGEST_ANSWER_BYTES + 1)
    except (OSError, ValueError):
        return b""


def parsed(text: bytes) -> dict[str, Any] | None:
    """The answer, or None where the child died over it or wrote something else."""
    if not text.endswith(b"\n"):
        return None
    try:
        answer = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return answer if isinstance(answer, dict) else None
