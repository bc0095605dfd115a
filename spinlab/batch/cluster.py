"""The same work on a Dask cluster: `distributed` hands tasks out again when a worker dies.

The workers need spinlab installed, and must see recordings and results under the same paths as
this machine.  On each of them a task still runs in a contained child.
"""

from __future__ import annotations

import importlib
import time
import uuid
from concurrent.futures import CancelledError, Future
from contextlib import suppress
from dataclasses import asdict
from typing import Any

from spinlab.batch.engines import Answer, failure
from spinlab.batch.task import Task
from spinlab.contained import Limits
from spinlab.errors import InputError, printable

# Tasks in the cluster's hands for each of its threads: one under way, one to go on with.
TASKS_PER_THREAD = 2
CONNECT_TIMEOUT_S = 15
_LOOK_EVERY_S = 2.0
_TO_CLOSE_S = 5


class ClusterEngine:
    """A client of a running Dask scheduler."""

    def __init__(self, address: str, limits: Limits) -> None:
        """Connect.

        Raises:
            InputError: `distributed` is not installed, or nothing answers at that address.
        """
        try:
            distributed: Any = importlib.import_module("distributed")
            from spinlab.batch.worker import Children, on_worker
        except ImportError as error:
            raise InputError(
                "A Dask scheduler needs the package distributed: pip install 'spinlab[cluster]'."
            ) from error
        self._address = printable(address)
        try:
            self._client = distributed.Client(
                address, timeout=CONNECT_TIMEOUT_S, set_as_default=False
            )
        except (OSError, TimeoutError, ValueError) as error:
            raise InputError(
                f"No Dask scheduler answers at {self._address}: start one with `dask scheduler`."
            ) from error
        # A name of this run's own: two batches may share a cluster, each with its own limits.
        self._plugin = f"spinlab-{uuid.uuid4().hex}"
        self._client.register_plugin(Children(limits), name=self._plugin)
        self._on_worker = on_worker
        self._executor = self._client.get_executor(pure=False)
        self._slots, self._looked = 0, 0.0

    @property
    def slots(self) -> int:
        """Twice the threads of all workers, at least one, so that work waits for a first worker.

        Raises:
            InputError: the scheduler is gone.
        """
        if self._client.status != "running":
            raise InputError(self._gone())
        if time.monotonic() - self._looked > _LOOK_EVERY_S:
            workers = self._client.scheduler_info(n_workers=-1)["workers"]
            threads = sum(worker["nthreads"] for worker in workers.values())
            self._slots = max(1, TASKS_PER_THREAD * threads)
            self._looked = time.monotonic()
        return self._slots

    def submit(self, task: Task) -> Future[Answer]:
        """Hand a task to the scheduler."""
        handed: Future[Answer] = self._executor.submit(
            self._on_worker, asdict(task), self._plugin, key=f"{self._plugin}-{time.monotonic_ns()}"
        )
        answer: Future[Answer] = Future()
        handed.add_done_callback(lambda done: self._pass_on(done, answer))
        return answer

    def close(self) -> None:
        """Take back what is not done and leave the cluster as it was."""
        self._executor.shutdown(wait=False)
        if self._client.status == "running":
            with suppress(OSError, TimeoutError):
                self._client.unregister_worker_plugin(self._plugin)
        self._client.close(timeout=_TO_CLOSE_S)

    def _pass_on(self, done: Future[Answer], answer: Future[Answer]) -> None:
        from distributed import KilledWorker

        try:
            answer.set_result(done.result())
        except KilledWorker:
            answer.set_result(failure("killed", "Several workers died over it, one after another."))
        except CancelledError:
            answer.set_exception(InputError(self._gone()))
        except Exception as error:
            answer.set_exception(error)

    def _gone(self) -> str:
        return (
            f"The Dask scheduler at {self._address} is gone; run the same command again to go on "
            "where it stopped."
        )
