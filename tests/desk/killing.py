"""Kill server and worker at random points while recordings come in, then count what is missing.

    python -m tests.desk.killing --kills 200 [--seed 1]

What is tried is the desk and not the analysis: a stand-in for it writes as many files as the real
one and takes a third of a second, so that much comes through while much is killed.  Killed
processes come back at once, forked from one that has loaded the desk and opened nothing.  Where
each kill struck is read from folder and tables right after it.  With SPINLAB_DESK_DATABASE set, the
desk stands on that database.
"""

import argparse
import json
import random
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import func, select

from spinlab.desk import signing
from spinlab.desk.accounts import add_account
from spinlab.desk.database import Database
from spinlab.desk.tables import finding, job, upload
from spinlab.desk.vault import Vault, digest_of
from tests.desk.examiners import RESULTS
from tests.desk.processes import Forked, free_port, settings_of, wait_until_open
from tests.desk.sending import Sender

SENDERS = 3
# So many recordings must have come through per kill before the next: else a slow computer would
# only ever be killed while it begins anew.
PACE = 0.6
# Share of the worker's kills that wait until it has claimed a job; the others strike at any time.
AMID_WORK = 0.9
PATIENCE_S = 1800.0


@dataclass
class Tally:
    """What a campaign came to; `lost` and `doubled` are what it is about."""

    kills: Counter = field(default_factory=Counter)
    sent: int = 0
    jobs: int = 0
    lost: int = 0
    doubled: int = 0
    wrong: int = 0
    attempts: int = 0
    seconds: float = 0.0


class Desk:
    """A desk of two processes, and what can be seen of it from outside."""

    def __init__(self, folder):
        self.settings, self.port = settings_of(folder), free_port()
        self.database = Database(self.settings)
        self.database.migrate()
        self.vault = Vault(self.settings.folder)
        self.ended = {None}
        self.processes = {
            "server": Forked("serve", str(folder), str(self.port)),
            "worker": Forked("work", str(folder)),
        }

    def ask(self, query):
        """Rows of a query."""
        with self.database.read() as connection:
            return connection.execute(query).all()

    def done(self):
        """How many recordings have come through."""
        return self.ask(select(func.count()).where(job.c.state == "done"))[0][0]

    def at_rest(self):
        """Whether no job waits or runs."""
        return not self.ask(select(job.c.id).where(job.c.state.in_(("waiting", "running"))))

    def claimed(self):
        """The job under a lease whose worker has not been killed, if there is one."""
        rows = self.ask(select(job.c.id, job.c.lease).where(job.c.state == "running"))
        return next((row for row in rows if row.lease not in self.ended), None)

    def kill(self, name):
        """Kill a process and begin it anew; returns where that struck."""
        process = self.processes[name]
        process.kill()
        struck = self._server_was() if name == "server" else self._worker_was()
        process.begin()
        return f"{name}: {struck}"

    def _server_was(self):
        announced = dict(self.ask(select(upload.c.id, upload.c.size_bytes)))
        came = {path.stem: path.stat().st_size for path in self.vault.parts()}
        if any(came.get(name) == size for name, size in announced.items()):
            return "all bytes there, job not made"
        if any(came.get(name) for name in announced):
            return "amid the bytes"
        return "announced" if announced else "between uploads"

    def _worker_was(self):
        claimed = self.claimed()
        if claimed is None:
            return "between jobs"
        self.ended.add(claimed.lease)
        folder = self.vault.results(claimed.id, claimed.lease)
        if not folder.exists():
            return "claimed"
        files = list(folder.iterdir())
        if len(files) < len(RESULTS):
            return "writing results" if files else "analysing"
        settled = all(not path.stat().st_mode & 0o222 for path in files)
        return "written, not on record" if settled else "settling what is written"

    def close(self):
        """End everything."""
        for process in self.processes.values():
            process.kill()
        self.database.close()


def wait_until(condition):
    """Wait until something holds."""
    until = time.monotonic() + PATIENCE_S
    while not condition():
        if time.monotonic() > until:
            raise TimeoutError("the desk did not get on")
        time.sleep(0.01)


def campaign(folder, kills, *, seed=1):
    """Run a desk in `folder`, kill it that often, let it come to rest, and count."""
    began = time.monotonic()
    tally, rng, stop = Tally(), random.Random(seed), threading.Event()
    desk = Desk(folder)
    tokens = _sign_in(desk)
    senders = [Sender(desk.port, *each, stop, seed + n) for n, each in enumerate(tokens)]
    try:
        wait_until_open(desk.port)
        first = time.monotonic()
        for sender in senders:
            sender.start()
        wait_until(lambda: desk.done() >= SENDERS)
        # What one recording takes here and now, so that kills strike from its begin to its end.
        span_s = (time.monotonic() - first) / SENDERS
        for number in range(kills):
            name = rng.choice(["server", "worker"])
            wait_until(lambda least=PACE * number: desk.done() >= least)
            if name == "server":
                wait_until_open(desk.port)
            elif rng.random() < AMID_WORK:
                wait_until(desk.claimed)
            time.sleep(rng.uniform(0.0, 1.2 * span_s))
            tally.kills[desk.kill(name)] += 1
        stop.set()
        for sender in senders:
            sender.join(timeout=PATIENCE_S)
        wait_until(desk.at_rest)
        _count(tally, desk, senders)
    finally:
        desk.close()
    tally.seconds = time.monotonic() - began
    return tally


def _sign_in(desk):
    with desk.database.write() as connection:
        person = add_account(connection, "sender", "technician", "a quiet drum turns 400")
        tokens = [signing.begin(connection, person) for _ in range(SENDERS)]
    signed = (signing.signed_in(desk.database, desk.settings, token) for token in tokens)
    return [(token, who.csrf) for token, who in zip(tokens, signed, strict=True)]


def _count(tally, desk, senders):
    """Hold what was acknowledged against what is there."""
    acknowledged = {}
    for sender in senders:
        acknowledged |= sender.acknowledged
    rows = {row.id: row for row in desk.ask(select(job))}
    told = dict(desk.ask(select(finding.c.job_id, func.count()).group_by(finding.c.job_id)))
    tally.sent, tally.jobs = len(acknowledged), len(rows)
    tally.attempts = sum(row.attempts for row in rows.values())
    for job_id, digest in acknowledged.items():
        row, original = rows.get(job_id), desk.vault.original(digest)
        if row is None or row.state != "done" or not original.exists():
            tally.lost += 1
            continue
        result = (desk.vault.results(job_id, row.result) / "result.json").read_text("utf-8")
        right = row.sha256 == digest == json.loads(result)["sha256"] == digest_of(original)
        tally.wrong += not right
        tally.doubled += told[job_id] != 2
    # Every recording is random, so the same bytes twice are one recording counted twice.
    tally.doubled += len(rows) - len({row.sha256 for row in rows.values()})


def main():
    """Run a campaign and print what it came to."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        tally = campaign(Path(folder), chosen.kills, seed=chosen.seed)
    for struck, times in sorted(tally.kills.items()):
        print(f"| {struck} | {times} |")
    tally.kills = sum(tally.kills.values())
    print(tally)


if __name__ == "__main__":
    main()
