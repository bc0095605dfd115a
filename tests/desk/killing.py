"""Kill server and worker at random points while recordings come in, then count what is missing.

    python -m tests.desk.killing --kills 200 [--seed 1]

Senders behave as the phone's page does: they repeat what was not answered and ask how far they got.
With SPINLAB_DESK_DATABASE set, the desk stands on that database.
"""

import argparse
import hashlib
import http.client
import json
import random
import tempfile
import threading
import time
import uuid
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import func, select

from spinlab.desk import signing
from spinlab.desk.accounts import add_account
from spinlab.desk.database import Database
from spinlab.desk.tables import finding, job
from spinlab.desk.vault import Vault, digest_of
from tests.desk.processes import HOST, Process, free_port, settings_of, wait_until_open
from tests.desk.rig import announcement

SENDERS = 3
PART_BYTES = 16 * 1024
# A process lives for a random time between these before it is killed.
SHORTEST_S, LONGEST_S = 0.0, 2.5
# Share of the kills that wait until the server answers; without, a slow computer would only ever
# be killed while it starts.
AMID_WORK = 0.8


@dataclass
class Tally:
    """What a campaign came to; `lost` and `doubled` are what it is about."""

    kills: dict[str, int] = field(default_factory=lambda: {"server": 0, "worker": 0})
    sent: int = 0
    jobs: int = 0
    lost: int = 0
    doubled: int = 0
    wrong: int = 0
    attempts: int = 0
    seconds: float = 0.0


class Sender(threading.Thread):
    """Sends one recording after the other, stubbornly; remembers what was acknowledged."""

    def __init__(self, port, token, csrf, stop, seed):
        super().__init__(daemon=True)
        self.port, self.stop_event, self.rng = port, stop, random.Random(seed)
        self.headers = {"Cookie": f"__Host-desk={token}", "X-CSRF-Token": csrf}
        self.acknowledged = {}

    def run(self):
        while not self.stop_event.is_set():
            size = self.rng.randrange(20_000, 200_000)
            content = bytes([self.rng.randrange(4)]) + self.rng.randbytes(size)
            job_id = self.send(content)
            self.acknowledged[job_id] = hashlib.sha256(content).hexdigest()

    def send(self, content):
        path = f"/api/uploads/{uuid.UUID(int=self.rng.getrandbits(128), version=4)}"
        told = json.dumps(announcement(content)).encode()
        offset = self.ask("PUT", path, told)["offset_bytes"]
        while offset < len(content):
            part = content[offset : offset + PART_BYTES]
            answer = self.ask("PATCH", path, part, {"Upload-Offset": str(offset)})
            offset = answer.get("offset_bytes", offset)
        return self.ask("POST", f"{path}/finish", b"{}")["job"]

    def ask(self, method, path, body, headers=None):
        """Ask until there is an answer; of a refusal only the offset counts."""
        while True:
            try:
                connection = http.client.HTTPConnection(HOST, self.port, timeout=20)
                kind = "application/octet-stream" if method == "PATCH" else "application/json"
                all_headers = {"Content-Type": kind, **self.headers, **(headers or {})}
                connection.request(method, path, body, all_headers)
                answer = connection.getresponse()
                content = answer.read()
            except (OSError, http.client.HTTPException):
                time.sleep(0.05)
                continue
            if answer.status < 300:
                return json.loads(content)
            if "upload-offset" in answer.headers and method == "PATCH":
                return {"offset_bytes": int(answer.headers["upload-offset"])}
            if answer.status not in (409, 423, 429, 500, 503):
                raise AssertionError(f"{method} was refused: {answer.status} {content!r}")
            time.sleep(0.1)


def campaign(folder, kills, *, seed=1):
    """Run a desk in `folder`, kill it that often, let it come to rest, and count."""
    began = time.monotonic()
    settings, port, tally, rng = settings_of(folder), free_port(), Tally(), random.Random(seed)
    database = Database(settings)
    database.migrate()
    tokens = _sign_in(database)
    processes = {
        "server": Process("serve", str(folder), str(port)),
        "worker": Process("work", str(folder)),
    }
    stop = threading.Event()
    senders = [Sender(port, *each, stop, seed + n) for n, each in enumerate(tokens)]
    try:
        wait_until_open(port)
        for sender in senders:
            sender.start()
        for _ in range(kills):
            name = rng.choice(["server", "worker"])
            # Mostly amid work; now and then while still starting.
            if rng.random() < AMID_WORK:
                wait_until_open(port)
            time.sleep(rng.uniform(SHORTEST_S, LONGEST_S))
            processes[name].kill()
            tally.kills[name] += 1
            processes[name].restart()
        stop.set()
        for sender in senders:
            sender.join(timeout=120)
        _come_to_rest(database)
    finally:
        for process in processes.values():
            process.kill()
    _count(tally, database, Vault(settings.folder), senders)
    database.close()
    tally.seconds = time.monotonic() - began
    return tally


def _sign_in(database):
    tokens = []
    with database.write() as connection:
        person = add_account(connection, "sender", "technician", "a quiet drum turns 400")
        for _ in range(SENDERS):
            tokens.append(signing.begin(connection, person))
    settings = settings_of(".")
    return [(token, signing.signed_in(database, settings, token).csrf) for token in tokens]


def _come_to_rest(database, *, patience_s=240.0):
    until = time.monotonic() + patience_s
    while time.monotonic() < until:
        with database.read() as connection:
            open_jobs = select(func.count()).where(job.c.state.in_(("waiting", "running")))
            if not connection.execute(open_jobs).scalar_one():
                return
        time.sleep(0.2)


def _count(tally, database, vault, senders):
    """Hold what was acknowledged against what is there."""
    acknowledged = {}
    for sender in senders:
        acknowledged |= sender.acknowledged
    with database.read() as connection:
        rows = {row.id: row for row in connection.execute(select(job))}
        counted = select(finding.c.job_id, func.count()).group_by(finding.c.job_id)
        told = {job_id: count for job_id, count in connection.execute(counted)}
    tally.sent, tally.jobs = len(acknowledged), len(rows)
    tally.attempts = sum(row.attempts for row in rows.values())
    for job_id, digest in acknowledged.items():
        row = rows.get(job_id)
        if row is None or row.state != "done" or not vault.original(digest).exists():
            tally.lost += 1
            continue
        result = (vault.results(job_id, row.result) / "result.json").read_text("utf-8")
        right = row.sha256 == digest == json.loads(result)["sha256"]
        right = right and digest_of(vault.original(digest)) == digest
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
        print(campaign(Path(folder), chosen.kills, seed=chosen.seed))


if __name__ == "__main__":
    main()
