"""The parent's side: a child process that is handed one job after the other."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict
from types import TracebackType
from typing import Any

from spinlab import errors
from spinlab.contained.child import READY
from spinlab.contained.endings import ended_by, too_much_memory
from spinlab.contained.limits import THREAD_VARIABLES, Limits
from spinlab.errors import JobEnded, SpinlabError

# An answer is a summary; one longer than this comes from a child that has gone astray.
LARGEST_ANSWER_BYTES = 64 * 2**20
# A fresh child now and then, so that no library's leak adds up over thousands of files.
JOBS_PER_PROCESS = 100
# Starting takes less than a second; on a machine out of breath it may take long.
_TO_START_S = 120.0
# A child that has closed its end is given so long to be gone.
_TO_DIE_S = 5.0

# Variables that programs need to start; everything else, secrets included, stays with the parent.
_PASSED_ON: tuple[str, ...] = (
    "PATH",
    "HOME",
    "LANG",
    "LC_ALL",
    "LC_CTYPE",
    "TZ",
    "LD_LIBRARY_PATH",
)
_PASSED_ON += ("SYSTEMROOT", "WINDIR", "APPDATA", "LOCALAPPDATA", "USERPROFILE")
_BEGIN = (
    "import sys, json; path, limits, scratch = json.loads(sys.argv[1]); sys.path[:] = path; "
    "from spinlab.contained.child import serve; from spinlab.contained.limits import Limits; "
    "serve(Limits(**limits), scratch)"
)


class Contained:
    """A child process that does one job at a time within limits, and is replaced when it ends.

    May be handed from thread to thread, but works for one at a time; `close` may be called from
    any thread and ends a job under way.
    """

    def __init__(
        self, limits: Limits | None = None, *, jobs_per_process: int = JOBS_PER_PROCESS
    ) -> None:
        self.limits = limits or Limits()
        self._jobs_per_process = jobs_per_process
        self._jobs_left = 0
        self._process: subprocess.Popen[bytes] | None = None
        self._scratch: str | None = None
        self._closed = False
        self._lock = threading.Lock()

    def call(self, function: Callable[..., Any], *arguments: Any, **options: Any) -> Any:
        """Run `function` in the child and return what it returns.

        Args:
            function: found by name at the top of an importable module.
            arguments: plain JSON values.
            options: plain JSON values.

        Returns:
            The function's value as JSON brings it back: tuples become lists.

        Raises:
            SpinlabError: as the function raised it (the class, and the message).
            JobEnded: there is no answer; `kind` tells how that came about.
        """
        job = {"function": _name(function), "arguments": arguments, "options": options}
        line = json.dumps(job, allow_nan=False).encode("utf-8") + b"\n"
        process = self._ready()
        with _Deadline(process, self.limits.wall_s) as deadline:
            text = _exchange(process, line)
        answer = _parsed(text)
        if answer is None:
            raise self._ended(process, text, in_time=not deadline.missed)
        self._jobs_left -= 1
        return self._value(answer)

    def close(self) -> None:
        """End the child, and with it any job under way."""
        with self._lock:
            self._closed = True
        self._drop()

    def __enter__(self) -> Contained:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def pid(self) -> int | None:
        """Process number of the child, if one is alive."""
        process = self._process
        return process.pid if process is not None and process.poll() is None else None

    def _ready(self) -> subprocess.Popen[bytes]:
        """The child, a new one where the old has ended or has done its share."""
        if self.pid is None or self._jobs_left <= 0:
            self._drop()
            with self._lock:
                if self._closed:
                    raise JobEnded("The work was stopped.", kind="stopped")
                self._scratch = tempfile.mkdtemp(prefix="spinlab-", dir=_roomy_folder())
                self._process = _start(self.limits, self._scratch)
                self._jobs_left = self._jobs_per_process
            assert self._process is not None
            self._greet(self._process)
        assert self._process is not None
        return self._process

    def _greet(self, process: subprocess.Popen[bytes]) -> None:
        """Wait until the child is there, which is no time of the job's."""
        assert process.stdout is not None
        with _Deadline(process, _TO_START_S):
            greeting = process.stdout.readline(len(READY))
        if greeting != READY:
            self._drop()
            if self._closed:
                raise JobEnded("The work was stopped.", kind="stopped")
            raise JobEnded(
                "No child process can be started for the work: is there too little memory, or is "
                "the installation broken?",
                kind="start",
            )

    def _drop(self) -> None:
        with self._lock:
            process, self._process = self._process, None
            scratch, self._scratch = self._scratch, None
        if process is not None:
            _kill(process)
            process.wait()
            for stream in (process.stdin, process.stdout):
                with suppress(OSError):
                    assert stream is not None
                    stream.close()
        if scratch is not None:
            shutil.rmtree(scratch, ignore_errors=True)

    def _value(self, answer: dict[str, Any]) -> Any:
        if "raised" not in answer:
            return answer.get("value")
        raised = answer["raised"] if isinstance(answer["raised"], dict) else {}
        name, message = str(raised.get("class", "")), str(raised.get("message", ""))
        if name == "MemoryError":
            self._drop()
            raise JobEnded(too_much_memory(self.limits), kind="memory")
        known = getattr(errors, name, None)
        if isinstance(known, type) and issubclass(known, SpinlabError) and known is not JobEnded:
            raise known(message)
        self._drop()
        raise JobEnded(
            f"A defect of spinlab, not of the file ({message} in {raised.get('place', '')}).",
            kind="defect",
        )

    def _ended(self, process: subprocess.Popen[bytes], text: bytes, *, in_time: bool) -> JobEnded:
        """How the child came to its end without an answer."""
        strange = bool(text)
        if not strange:
            with suppress(subprocess.TimeoutExpired):
                process.wait(timeout=_TO_DIE_S)
        code = process.poll()
        self._drop()
        if self._closed:
            return JobEnded("The work was stopped.", kind="stopped")
        if not in_time:
            limit = f"{self.limits.wall_s:g} s"
            return JobEnded(f"It was not done within {limit} and was stopped.", kind="timeout")
        if strange and code is None:
            return JobEnded("Its process answered nonsense and was stopped.", kind="crash")
        return ended_by(code or 0, self.limits)


class _Deadline:
    """Kills the child if a job takes too long, and never after the job is over."""

    def __init__(self, process: subprocess.Popen[bytes], wall_s: float | None) -> None:
        self.missed = False
        self._process = process
        self._over = False
        self._lock = threading.Lock()
        self._timer = None if wall_s is None else threading.Timer(wall_s, self._miss)

    def __enter__(self) -> _Deadline:
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
                _kill(self._process)


def run_contained(
    function: Callable[..., Any], *arguments: Any, limits: Limits | None = None, **options: Any
) -> Any:
    """Run `function` once in a child process of its own; see `Contained.call`."""
    with Contained(limits) as child:
        return child.call(function, *arguments, **options)


def _name(function: Callable[..., Any]) -> str:
    module = getattr(function, "__module__", None)
    path = getattr(function, "__qualname__", "<")
    if module in (None, "__main__") or "<" in path:
        raise ValueError(
            f"{path} cannot be found by a child process: define it at the top of a module that "
            "can be imported."
        )
    return f"{module}:{path}"


def _start(limits: Limits, scratch: str) -> subprocess.Popen[bytes]:
    environment = {name: os.environ[name] for name in _PASSED_ON if name in os.environ}
    environment |= dict.fromkeys(THREAD_VARIABLES, str(limits.threads))
    environment |= dict.fromkeys(("TMPDIR", "TEMP", "TMP"), scratch)
    path = [os.path.abspath(entry) for entry in sys.path]
    words = json.dumps([path, asdict(limits), scratch])
    return subprocess.Popen(
        [sys.executable, "-I", "-W", "ignore", "-c", _BEGIN, words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=environment,
        start_new_session=True,
    )


def _roomy_folder() -> str | None:
    """Where temporary files of many megabytes may lie: as /tmp is often memory, not there."""
    if os.environ.get("TMPDIR") or not os.access("/var/tmp", os.W_OK):
        return None
    return "/var/tmp"


def _exchange(process: subprocess.Popen[bytes], line: bytes) -> bytes:
    """Send a job and read its answer; what is read ends in no line feed if the child died."""
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        process.stdin.write(line)
        process.stdin.flush()
        return process.stdout.readline(LARGEST_ANSWER_BYTES + 1)
    except (OSError, ValueError):
        return b""


def _parsed(text: bytes) -> dict[str, Any] | None:
    """The answer, or None where the child died over it or wrote something else."""
    if not text.endswith(b"\n"):
        return None
    try:
        answer = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return answer if isinstance(answer, dict) else None


def _kill(process: subprocess.Popen[bytes]) -> None:
    """End the child and whatever it started."""
    if process.poll() is not None:
        return
    try:
        if sys.platform == "win32":
            process.kill()
        else:
            os.killpg(process.pid, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        process.kill()
