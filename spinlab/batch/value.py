"""What a batch is told, and what it tells."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from spinlab.batch.severity import exit_code
from spinlab.contained import Limits

Redo = Literal["nothing", "failed", "all"]

# Half an hour for one recording: ten times what the longest recordings of a day's work take.
DEFAULT_LIMITS = Limits(wall_s=1800.0, memory_bytes=4 * 10**9)


@dataclass(frozen=True, kw_only=True)
class Status:
    """How far a batch is.

    Attributes:
        done: files of this run with an outcome, those finished earlier included.
        total: files seen in this run so far.
        left_s: time that the rest is going to take; None while that cannot be told.
        share: of the work that is done, 0 to 1.
        name: the file that was just finished; empty if it only tells how time goes on.
        outcome: of that file (see `spinlab.batch.severity`).
        sentence: of that file.
        warning: something to tell while watching, e.g. that the folder is away; mostly empty.
    """

    done: int
    total: int
    left_s: float | None
    share: float
    name: str = ""
    outcome: str = ""
    sentence: str = ""
    warning: str = ""


@dataclass(frozen=True, kw_only=True)
class Tally:
    """What a finished batch came to.

    Attributes:
        ranks: how many files came to each place in the order of severity (0 the gravest).
        analysed: recordings worked on in this run.
        kept: files whose work had been finished before, or is that of another file's same content.
        index, table: the page and the CSV.
    """

    ranks: Mapping[int, int]
    analysed: int
    kept: int
    index: str
    table: str

    @property
    def files(self) -> int:
        """Files of this run."""
        return sum(self.ranks.values())

    @property
    def exit_code(self) -> int:
        """That of the gravest outcome."""
        return exit_code(self.ranks)


class Forecast:
    """Remaining time from the bytes worked through so far."""

    def __init__(self, total_bytes: int) -> None:
        self._total = total_bytes
        self._done = 0
        self._began_s: float | None = None

    def begin(self, now_s: float) -> None:
        """Work begins; later calls change nothing."""
        if self._began_s is None:
            self._began_s = now_s

    def add(self, size_bytes: int, *, total_bytes: int = 0) -> None:
        """So many bytes are worked through, and so many more have turned up."""
        self._done += size_bytes
        self._total += total_bytes

    @property
    def share(self) -> float:
        """Of the bytes that are worked through."""
        return min(1.0, self._done / self._total) if self._total > 0 else 0.0

    def left_s(self, now_s: float) -> float | None:
        """Time left at the pace so far, or None before any is known."""
        if self._began_s is None or self._done <= 0 or self._total <= 0:
            return None
        left = (now_s - self._began_s) * (1 / self.share - 1)
        return left if math.isfinite(left) else None
