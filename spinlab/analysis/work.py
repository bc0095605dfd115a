"""Running steps: progress, time taken, and defects of our own that must not lose the rest."""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable
from typing import TypeVar

from spinlab.analysis.value import Failure
from spinlab.errors import InputError

Progress = Callable[[str, float], None]
Made = TypeVar("Made")


class DefectWarning(UserWarning):
    """A step failed by a defect of spinlab's own; the rest of the result stands."""


class Work:
    """Runs steps: tells the progress, keeps the time, keeps one failure from losing the rest."""

    def __init__(self, progress: Progress | None) -> None:
        self._tell = progress or (lambda step, share: None)
        self.seconds: list[tuple[str, float]] = []
        self.failures: list[Failure] = []

    def run(self, step: str, make: Callable[[], Made]) -> Made:
        """Make something that nothing can do without."""
        self._tell(step, 0.0)
        began = time.perf_counter()
        try:
            return make()
        finally:
            self.seconds.append((step, time.perf_counter() - began))

    def attempt(self, step: str, make: Callable[[], Made]) -> Made | None:
        """Make something that the rest can do without; None where that fails by a defect."""
        try:
            return self.run(step, make)
        except (InputError, MemoryError):
            raise
        except Exception as error:
            failure = Failure(step=step, error=f"{type(error).__name__}: {error}")
            self.failures.append(failure)
            warnings.warn(
                f"the step '{step}' failed by a defect of spinlab's own ({failure.error}); the "
                "rest of the result stands",
                DefectWarning,
                stacklevel=2,
            )
            return None
