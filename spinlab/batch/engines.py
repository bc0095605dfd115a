"""Where the work runs: contained child processes of this machine, or a Dask cluster.

Both take a task and give back a `concurrent.futures.Future` of its answer; both keep a crash, an
endless loop or a hunger for memory within the one file that caused it.
"""

from __future__ import annotations

import os
import queue
from collections.abc import Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict
from typing import Any, Protocol

from spinlab.batch.severity import FAILURES
from spinlab.batch.task import Task, perform
from spinlab.contained import Contained, Limits
from spinlab.errors import InputError, JobEnded, UnreadableRecording

# {"summary": ...}, {"changed": True}, or {"failed": how, "reason": sentence}.
Answer = Mapping[str, Any]


class Engine(Protocol):
    """Something that works on several tasks side by side."""

    @property
    def slots(self) -> int:
        """How many tasks it should hold at any time: enough to keep it busy, few enough to count.

        Raises:
            InputError: the engine has gone away.
        """

    def submit(self, task: Task) -> Future[Answer]:
        """Begin a task; its future raises OutputError where a result cannot be written."""

    def close(self) -> None:
        """Stop, with whatever is under way."""


class LocalEngine:
    """Child processes on this machine, one for each worker."""

    def __init__(self, workers: int, limits: Limits) -> None:
        self.slots = workers + 1  # one waits, so that no worker does
        self._children = [Contained(limits) for _ in range(workers)]
        self._idle: queue.SimpleQueue[Contained] = queue.SimpleQueue()
        for child in self._children:
            self._idle.put(child)
        self._threads = ThreadPoolExecutor(workers, thread_name_prefix="spinlab-batch")

    def submit(self, task: Task) -> Future[Answer]:
        """Begin a task as soon as a child is idle."""
        return self._threads.submit(self._run, task)

    def close(self) -> None:
        """Kill the children; what they had in hand counts as not begun."""
        for child in self._children:
            child.close()
        self._threads.shutdown(cancel_futures=True)

    def _run(self, task: Task) -> Answer:
        child = self._idle.get()
        try:
            return work(child, asdict(task))
        finally:
            self._idle.put(child)


def work(child: Contained, task: dict[str, Any]) -> Answer:
    """Do a task in a child and put every ending that concerns its file alone into words.

    Raises:
        OutputError: a result cannot be written, which concerns the whole batch.
        JobEnded: the work was stopped, or no child can be started.
    """
    for attempt in (1, 2):
        try:
            answer = child.call(perform, task)
            return answer if "changed" in answer else {"summary": answer}
        except UnreadableRecording as error:
            return failure("unreadable", error)
        except InputError as error:
            return failure("unusable", error)
        except JobEnded as error:
            if error.kind in ("stopped", "start"):
                raise
            # Whoever killed it, perhaps the system in want of memory, may have meant another.
            if error.kind != "killed" or attempt == 2:
                return failure(error.kind, error)
    raise AssertionError("both attempts return or raise")


def failure(how: str, reason: object) -> Answer:
    """The answer for a recording that could not be checked."""
    assert how in FAILURES, how
    return {"failed": how, "reason": str(reason)}


def default_workers() -> int:
    """As many as there are processors for this process."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
