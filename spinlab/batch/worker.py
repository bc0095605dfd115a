"""The side of a Dask cluster's worker: it keeps contained children, and hands them tasks.

Imported only where `distributed` is installed.
"""

from __future__ import annotations

import threading
from dataclasses import asdict
from typing import Any

from distributed import WorkerPlugin, get_worker

from spinlab.batch.engines import Answer, work
from spinlab.contained import Contained, Limits

_IDLE_S = 60.0


class Children(WorkerPlugin):
    """The contained children of one worker of the cluster.

    They are kept from task to task, and let go when none has come for a while: if this batch is
    killed, nobody tells the workers.
    """

    def __init__(self, limits: Limits) -> None:
        self._limits = asdict(limits)

    def setup(self, worker: object) -> None:
        """Called on a worker when it learns of this plugin."""
        self._idle: list[Contained] = []
        self._lock = threading.Lock()
        self._tasks = 0

    def teardown(self, worker: object) -> None:
        """Called on a worker when the plugin is taken back, or the worker ends."""
        self._let_go(None)

    def work(self, task: dict[str, Any]) -> Answer:
        """Do a task in a child."""
        with self._lock:
            self._tasks += 1
            child = self._idle.pop() if self._idle else Contained(Limits(**self._limits))
        try:
            return dict(work(child, task))
        finally:
            with self._lock:
                self._idle.append(child)
                timer = threading.Timer(_IDLE_S, self._let_go, [self._tasks])
            timer.daemon = True
            timer.start()

    def _let_go(self, after_task: int | None) -> None:
        """End idle children, unless tasks have come since the one given."""
        with self._lock:
            over = self._idle if after_task in (None, self._tasks) else []
            self._idle = [child for child in self._idle if child not in over]
        for child in over:
            child.close()


def on_worker(task: dict[str, Any], plugin: str) -> Answer:
    """Do a task on a worker of the cluster."""
    children = get_worker().plugins[plugin]
    assert isinstance(children, Children)
    return children.work(task)
