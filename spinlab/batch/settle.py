"""Uploads on their way: a file is taken up once it has stopped changing for a while."""

from __future__ import annotations

from pathlib import Path

from spinlab.batch.sources import Found


class Settling:
    """Remembers since when each new file looks as it does; holds only files on their way."""

    def __init__(self, settle_s: float) -> None:
        self._settle_s = settle_s
        self._since: dict[Path, tuple[tuple[int, int, int] | None, float, int]] = {}
        self._round = 0

    def settled(self, found: Found, *, now_s: float) -> bool:
        """Whether a file has kept its size and times for `settle_s`; `now_s` must be monotonic."""
        stamp, since_s, _ = self._since.get(found.path, (None, now_s, 0))
        if stamp != found.stamp:
            stamp, since_s = found.stamp, now_s
        if stamp is not None and now_s - since_s >= self._settle_s:
            self._since.pop(found.path, None)
            return True
        self._since[found.path] = stamp, since_s, self._round
        return False

    def end_round(self) -> None:
        """Forget files that were not asked about since the last call: they are gone."""
        self._since = {p: seen for p, seen in self._since.items() if seen[2] == self._round}
        self._round += 1

    def __len__(self) -> int:
        return len(self._since)
