"""Where decoded samples go: memory while they are few, an unlinked temporary file beyond that.

Blocks arrive as float32 of shape (frames, channels) and are appended interleaved, so the total
need not be known beforehand and no header is trusted with an allocation.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from types import TracebackType
from typing import IO

import numpy as np
from numpy.typing import NDArray

from spinlab.errors import OutputError
from spinlab.phrase import say

# Above this much decoded sound the samples move to disk: half an hour of mono at 8 kHz, or six
# minutes at 48 kHz, stays in memory, which any machine of today has to spare.
IN_MEMORY_BYTES = 64 * 2**20


def scratch_folder() -> str:
    """Folder for large temporary files: TMPDIR if set, else /var/tmp, as /tmp is often memory."""
    asked = os.environ.get("TMPDIR")
    if asked and Path(asked).is_dir():
        return asked
    if os.access("/var/tmp", os.W_OK):
        return "/var/tmp"
    return tempfile.gettempdir()


class SampleStore:
    """Collects blocks of shape (frames, channels) and hands them back as (channels, frames)."""

    def __init__(self, channels: int, *, in_memory_bytes: int | None = None) -> None:
        self.channels = channels
        self.frames = 0
        self._limit = IN_MEMORY_BYTES if in_memory_bytes is None else in_memory_bytes
        self._blocks: list[NDArray[np.float32]] = []
        self._file: IO[bytes] | None = None

    def __enter__(self) -> SampleStore:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        # The map made by `samples` keeps the unlinked file alive by itself.
        if self._file is not None:
            self._file.close()

    def append(self, block: NDArray[np.float32]) -> None:
        """Add a block of shape (frames, channels)."""
        self.frames += len(block)
        self._blocks.append(np.ascontiguousarray(block, dtype=np.float32))
        if self._file is not None or self.frames * self.channels * 4 > self._limit:
            self._spool()

    def samples(self) -> NDArray[np.float32]:
        """All samples, shape (channels, frames); a read-only memory map once they went to disk."""
        if self._file is None:
            if not self._blocks:
                return np.zeros((self.channels, 0), dtype=np.float32)
            return np.ascontiguousarray(np.concatenate(self._blocks).T)
        self._file.flush()
        shape = (self.frames, self.channels)
        return np.memmap(self._file, dtype=np.float32, mode="r", shape=shape).T

    def _spool(self) -> None:
        folder = scratch_folder()
        try:
            if self._file is None:
                self._file = tempfile.TemporaryFile(dir=folder, prefix="spinlab-")  # noqa: SIM115
            for block in self._blocks:
                self._file.write(block.data)
        except OSError as error:
            raise OutputError(
                say(
                    "There is no room for the decoded samples in {folder} ({strerror}): free "
                    "some space there, or set TMPDIR to a folder with more.",
                    folder=folder,
                    strerror=error.strerror,
                )
            ) from error
        self._blocks.clear()
