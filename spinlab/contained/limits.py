"""Limits of a child process, and how it puts them on itself before it touches any file."""

from __future__ import annotations

import math
import os
import sys
from dataclasses import dataclass

# Read by numpy's and scipy's libraries when they load: work runs side by side in processes, so
# threads within one would only fight for the same cores.
THREAD_VARIABLES = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
    "NUMBA_NUM_THREADS",
)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What one job may take.  None stands for no limit.

    Only `wall_s` and `threads` hold on every system; the others need the limits of POSIX
    (setrlimit), and the memory limit those of Linux.

    Attributes:
        wall_s: time on the clock for one job, from handing it over to its answer.
        cpu_s: processor time for one job, rounded up to whole seconds.
        memory_bytes: memory of the child, libraries included.  Files mapped into memory do not
            count.
        file_bytes: size of any one file that the child writes.
        threads: threads of the numerical libraries.
        niceness: added to the priority number: 10 lets interactive work go first.
    """

    wall_s: float | None = None
    cpu_s: float | None = None
    memory_bytes: int | None = None
    file_bytes: int | None = None
    threads: int = 1
    niceness: int = 0

    def __post_init__(self) -> None:
        for name in ("wall_s", "cpu_s", "memory_bytes", "file_bytes"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be above zero, or None for no limit")
        if self.threads < 1 or self.niceness < 0:
            raise ValueError("threads must be 1 or more and niceness 0 or more")


def limit_process(limits: Limits) -> None:
    """Put the limits that last for the whole process on this very process; for children only."""
    if sys.platform == "win32":
        return
    import resource

    _lower(resource.RLIMIT_CORE, 0)
    if limits.memory_bytes is not None and sys.platform == "linux":
        # Not the address space: a long recording is a mapped file, which costs no memory.
        _lower(resource.RLIMIT_DATA, limits.memory_bytes)
    if limits.file_bytes is not None:
        _lower(resource.RLIMIT_FSIZE, limits.file_bytes)
    if limits.niceness:
        os.nice(limits.niceness)


def limit_next_job(limits: Limits) -> None:
    """Let this process take `cpu_s` more of the processor than it has taken so far."""
    if sys.platform == "win32" or limits.cpu_s is None:
        return
    import resource

    used = resource.getrusage(resource.RUSAGE_SELF)
    allowed = math.ceil(used.ru_utime + used.ru_stime + limits.cpu_s)
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    soft = allowed if hard == resource.RLIM_INFINITY else min(allowed, hard)
    resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))


def _lower(which: int, wanted: int) -> None:
    """Set a limit for good, never above the one already there."""
    import resource

    hard = resource.getrlimit(which)[1]
    value = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
    resource.setrlimit(which, (value, value))
