"""The parent's side: a child process that is handed one job after the other."""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Any

from spinlab import errors
from spinlab.contained.child import READY
from spinlab.contained.endings import ended_by, too_much_memory
from spinlab.contained.exchange import Deadline, exchange, name_of, parsed
from spinlab.contained.launch import kill, roomy_folder, start
from spinlab.contained.limits import Limits
from spinlab.errors import JobEnded, SpinlabError

# A fresh child now and then, so that no library's leak adds up over thousands of files.
JOBS_PER_PROCESS = 100
# Starting takes less than a second; on a machine out of breath it may take long.
_TO_START_S = 120.0
# A child that has closed its end is given so long to be gone.
_TO_DIE_S = 5.0


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
        job = {"function": name_of(function), "arguments": arguments, "options": options}
        line = json.dumps(job, allow_nan=False).encode("utf-8") + b"\n"
        process = self._ready()
        with Deadline(process, self.limits.wall_s) as deadline:
            text = exchange(process, line)
        answer = parsed(text)
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
                self._scratch = tempfile.mkdtemp(prefix="spinlab-", dir=roomy_folder())
                self._process = start(self.limits, self._scratch)
                self._jobs_left = self._jobs_per_process
            assert self._process is not None
            self._greet(self._process)
        assert self._process is not None
        return self._process

    def _greet(self, process: subprocess.Popen[bytes]) -> None:
        """Wait until the child is there, which is no time of the job's."""
        assert process.stdout is not None
        with Deadline(process, _TO_START_S):
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
            kill(process)
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


def run_contained(
    function: Callable[..., Any], *arguments: Any, limits: Limits | None = None, **options: Any
) -> Any:
    """Run `function` once in a child process of its own; see `Contained.call`."""
    with Contained(limits) as child:
        return child.call(function, *arguments, **options)
