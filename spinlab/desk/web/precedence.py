"""Who goes first: a person who waits for a page, before the bytes of an upload.

One process answers both, on one loop.  Fifty uploads at once keep that loop busy for tens of
milliseconds a round, and a page needs several rounds.  So while a page is being made, uploads are
not read from: their senders wait as they would for a slower network, and the page has the loop for
itself.  A page that takes longer than `LONGEST_S`, or one page after another, does not stop them.
"""

from __future__ import annotations

import asyncio
from contextlib import suppress

# So long an upload stands aside at a time, for a piece of some 200 kB: even where pages never end,
# each upload still gets on by a megabyte a second.
LONGEST_S = 0.2


class Precedence:
    """Pages that are being made, and uploads that wait for them; of one loop, not of threads."""

    def __init__(self) -> None:
        self._pages, self._none = 0, asyncio.Event()
        self._none.set()

    def begin(self) -> None:
        """A page is being made."""
        self._pages += 1
        self._none.clear()

    def end(self) -> None:
        """It is made."""
        self._pages -= 1
        if not self._pages:
            self._none.set()

    async def give_way(self) -> None:
        """Wait until no page is being made, or for as long as an upload must."""
        if self._pages:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._none.wait(), LONGEST_S)
