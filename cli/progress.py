"""Progress on a terminal, for whatever takes longer than a second."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

from spinlab.report.language import tell

# Shorter work shows nothing; then a new line at most so often.
_PATIENCE_S = 1.0
_BETWEEN_S = 0.2
# A forecast from less than this share of the work would only jump about.
_LEAST_SHARE = 0.05


class Progress:
    """One line on standard error that is written over and wiped at the end.

    Shows nothing unless standard error is a terminal.
    """

    def __init__(self, *, wanted: bool = True) -> None:
        self._shown = wanted and sys.stderr.isatty()
        self._started = time.monotonic()
        self._step_started = self._started
        self._last = 0.0
        self._step = ""
        self._prefix = ""
        self._width = 0

    def __call__(self, step: str, share: float) -> None:
        """Say which step is under way and which share of it is done (0 to 1)."""
        now = time.monotonic()
        if step != self._step:
            self._step, self._step_started, self._last = step, now, 0.0
        if not self._shown or now - self._started < _PATIENCE_S:
            return
        if now - self._last < _BETWEEN_S:
            return
        self._last = now
        percent = f"{100 * min(max(share, 0.0), 1.0):3.0f} %"
        self._write(f"{self._prefix}{tell(step)} {percent}{self._left(now, share)}")

    def part(self, number: int, count: int) -> None:
        """Say before every step which of several recordings it concerns; of none after the last."""
        whole = number > count
        self._prefix = "" if whole else tell("{number} of {count}: ", number=number, count=count)
        self._step = ""

    def step(self, name: str) -> Callable[[float], None]:
        """A progress function of its own for one step."""
        self(name, 0.0)
        return lambda share: self(name, share)

    def wipe(self) -> None:
        """Leave a clean line behind."""
        if self._width:
            self._write("")
            sys.stderr.write("\r")
            sys.stderr.flush()
            self._width = 0

    def _left(self, now: float, share: float) -> str:
        if not _LEAST_SHARE < share < 1.0:
            return ""
        seconds = (now - self._step_started) * (1 - share) / share
        return tell(", about {seconds:.0f} s left", seconds=seconds) if seconds >= 1 else ""

    def _write(self, line: str) -> None:
        sys.stderr.write("\r" + line.ljust(self._width))
        sys.stderr.flush()
        self._width = max(len(line), 0)
