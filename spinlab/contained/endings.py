"""How a child process ended, in one sentence."""

from __future__ import annotations

import signal

from spinlab.contained.limits import Limits
from spinlab.errors import JobEnded


def ended_by(code: int, limits: Limits) -> JobEnded:
    """What an exit code (a signal's number negated) says of a job that gave no answer."""
    name = _signal_name(code)
    if name == "SIGXCPU":
        return JobEnded(
            f"It took more than {limits.cpu_s:g} s of the processor and was stopped.", kind="cpu"
        )
    if name == "SIGKILL":
        return JobEnded(
            "Its process was killed from outside, perhaps because memory ran out.", kind="killed"
        )
    how = name or f"exit code {code}"
    return JobEnded(f"Its process crashed ({how}): the file may be damaged.", kind="crash")


def _signal_name(code: int) -> str:
    if code >= 0:
        return ""
    try:
        return signal.Signals(-code).name
    except ValueError:
        return f"signal {-code}"


def too_much_memory(limits: Limits) -> str:
    """The sentence for a job that memory was refused to."""
    if limits.memory_bytes is None:
        return "There was not enough memory for it."
    return f"It needs more memory than the {limits.memory_bytes / 1e6:.0f} MB allowed."
