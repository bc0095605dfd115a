"""Rate limits: a bucket of permits per caller that refills steadily.

The buckets live in the memory of the one server process: a restart forgives, which costs an
attacker more time than it gains.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

# More callers than this at once and the longest unseen is forgotten: memory stays bounded.
_MOST_CALLERS = 20_000


@dataclass(frozen=True, kw_only=True)
class Limit:
    """`burst` permits at once, and one more every `every_s` seconds."""

    burst: int
    every_s: float


# Sign-ins per address: ten, then one in 30 s, 2880 a day;
SIGN_IN = Limit(burst=10, every_s=30.0)
# ... and per name, from wherever: more, so that a stranger cannot easily lock someone out.
SIGN_IN_NAME = Limit(burst=50, every_s=10.0)
# Hand-back links tried per address.
LINK = Limit(burst=60, every_s=1.0)
# Everything else per account: pages, and parts of uploads (8 MiB each at most).
REQUEST = Limit(burst=600, every_s=0.02)


class Throttle:
    """Counts permits per caller."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._buckets: OrderedDict[tuple[Limit, str], tuple[float, float]] = OrderedDict()

    def wait_s(self, limit: Limit, caller: str) -> float:
        """Take one permit: 0 if there was one, else the seconds until there is."""
        now = self._clock()
        with self._lock:
            permits, seen = self._buckets.pop((limit, caller), (float(limit.burst), now))
            permits = min(float(limit.burst), permits + (now - seen) / limit.every_s)
            granted = permits >= 1.0
            self._buckets[(limit, caller)] = (permits - 1.0 if granted else permits, now)
            while len(self._buckets) > _MOST_CALLERS:
                self._buckets.popitem(last=False)
        return 0.0 if granted else (1.0 - permits) * limit.every_s
