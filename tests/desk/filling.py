"""Many invented jobs at once, for lists that are long."""

import random
import time
import uuid

from spinlab.desk.jobs import SEVERITY
from spinlab.desk.tables import job

_VERDICTS = ("clear", "attention", "fault", "not measurable")
_AT_ONCE = 2000


def fill(database, person, count, *, seed=1):
    """Add that many finished jobs of one person, some of them failed, one a minute."""
    rng = random.Random(seed)
    now = time.time()
    for first in range(0, count, _AT_ONCE):
        numbers = range(first, min(count, first + _AT_ONCE))
        rows = [_row(rng, person, number, now - 60.0 * (count - number)) for number in numbers]
        with database.write() as connection:
            connection.execute(job.insert(), rows)


def _row(rng, person, number, created_s):
    verdict = rng.choices(_VERDICTS, (60, 20, 15, 5))[0]
    failed = rng.random() < 0.02
    reference, name = f"job-{number:05d}", f"spin-{rng.randrange(10**6):06d}.m4a"
    return {
        "id": str(uuid.UUID(int=rng.getrandbits(128), version=4)),
        "account_id": person.id,
        "reference": reference,
        "file_name": name,
        "search": f"{reference} {name} {person.name} belt-brushed-1400",
        "size_bytes": rng.randrange(10**5, 10**7),
        "sha256": f"{rng.getrandbits(256):064x}",
        "profile": "belt-brushed-1400",
        "readings": "",
        "consent": "2026-11-25",
        "created_s": created_s,
        "delete_after_s": created_s + 180 * 86400,
        "state": "failed" if failed else "done",
        "attempts": 1,
        "finished_s": created_s + 30,
        "result": None if failed else f"{rng.getrandbits(128):032x}",
        "software": "0.0",
        "verdict_state": None if failed else verdict,
        "verdict_sentence": None if failed else f"An invented verdict, number {number}.",
        "severity": -1 if failed else SEVERITY[verdict],
        "failure": "Could not be read." if failed else None,
    }
