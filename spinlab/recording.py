"""The recording: a frozen value that every later step reads and none changes.

Conventions: samples are float32, shape (channels, n), uniform in time.  Sound is in units of full
scale (1.0 = clipping of the file's own format); acceleration is in m/s2.  ``start_s`` places the
first sample on the file's own clock, so a time printed by spinlab is the time a player shows.
"""

from __future__ import annotations

import mmap
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Kind = Literal["sound", "acceleration"]


@dataclass(frozen=True, kw_only=True)
class Remark:
    """Something noticed about a recording, and what it means for the conclusions: two sentences."""

    what: str
    consequence: str


@dataclass(frozen=True, kw_only=True)
class Gap:
    """A stretch of the file's clock in which nothing usable was recorded."""

    start_s: float
    end_s: float
    reason: str


@dataclass(frozen=True, kw_only=True)
class Source:
    """Where a recording came from: enough to find the same bytes again."""

    file: str
    sha256: str
    container: str = ""
    codec: str = ""
    bits: int | None = None


@dataclass(frozen=True, kw_only=True)
class SampleClock:
    """How evenly the stamps of an acceleration log really came (seconds).

    `resampled` is True where the sensor's own steps vary, so its rows had to be interpolated; False
    where they lie on an even clock and only the stamps scatter.
    """

    median_step_s: float
    jitter_s: float
    duplicates: int
    backward_steps: int
    longest_gap_s: float
    resampled: bool = False


def _let_go(samples: NDArray[np.float32]) -> None:
    """Drop the pages of a memory map from this process; they stay on disk and can be read again."""
    base: object = samples
    while isinstance(base, np.ndarray):
        base = base.base
    if isinstance(base, mmap.mmap) and hasattr(base, "madvise"):
        base.madvise(mmap.MADV_DONTNEED)


@dataclass(frozen=True, kw_only=True, eq=False)
class Recording:
    """One phone recording, decoded, on a uniform time grid.

    Attributes:
        kind: "sound" or "acceleration".
        samples: float32, shape (channels, n); full scale for sound, m/s2 for acceleration.  Long
            recordings are backed by a temporary memory map: read them through `blocks`.
        rate_hz: samples per second.
        start_s: time of the first sample on the file's own clock.
        channel_names: one name per row of `samples` ("left", "x", "magnitude", ...).
        source: file name, hash, container and codec.
        gaps: stretches that were filled, with the reason.
        clock: stamp statistics, for logs only.
        remarks: what the reader noticed and repaired.
    """

    kind: Kind
    samples: NDArray[np.float32]
    rate_hz: float
    start_s: float = 0.0
    channel_names: tuple[str, ...] = ()
    source: Source = field(default_factory=lambda: Source(file="", sha256=""))
    gaps: tuple[Gap, ...] = ()
    clock: SampleClock | None = None
    remarks: tuple[Remark, ...] = ()

    def __post_init__(self) -> None:
        if self.samples.ndim != 2 or self.samples.dtype != np.float32:
            raise ValueError("samples must be float32 with shape (channels, n)")
        if not (np.isfinite(self.rate_hz) and self.rate_hz > 0):
            raise ValueError("rate_hz must be a positive number")
        view = self.samples.view()
        view.flags.writeable = False
        object.__setattr__(self, "samples", view)

    @property
    def length(self) -> int:
        """Number of samples per channel."""
        return int(self.samples.shape[1])

    @property
    def channels(self) -> int:
        """Number of channels."""
        return int(self.samples.shape[0])

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.length / self.rate_hz

    @property
    def end_s(self) -> float:
        """Time just after the last sample, on the file's own clock."""
        return self.start_s + self.duration_s

    def blocks(
        self, seconds: float, overlap_s: float = 0.0
    ) -> Iterator[tuple[int, NDArray[np.float32]]]:
        """Yield (first sample index, samples of shape (channels, m)) in blocks of `seconds`.

        Of a recording on disk, each block's pages are let go before the next one is read.
        """
        size = max(1, round(seconds * self.rate_hz))
        overlap = round(overlap_s * self.rate_hz)
        for first in range(0, self.length, size):
            yield first, self.samples[:, first : min(self.length, first + size + overlap)]
            _let_go(self.samples)

    def cut(self, start_s: float, end_s: float) -> Recording:
        """The part between two times of the file's own clock, as a recording of its own."""
        from dataclasses import replace

        first = max(0, round((start_s - self.start_s) * self.rate_hz))
        last = min(self.length, round((end_s - self.start_s) * self.rate_hz))
        return replace(
            self,
            samples=self.samples[:, first:last],
            start_s=self.start_s + first / self.rate_hz,
            gaps=tuple(g for g in self.gaps if g.end_s > start_s and g.start_s < end_s),
        )
