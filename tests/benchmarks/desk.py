"""How the desk stands up to many at once, measured on loopback.

    python -m tests.benchmarks.desk lists [--jobs 100000]
    python -m tests.benchmarks.desk uploads [--senders 50] [--size-mb 10] [--rounds 5]

Each prints one table.  Server, reader and senders run on the same cores.  The pages of `lists` are
read in turn, one after the other, and among them the desk's emptiest answer, /healthz, which shows
what the computer's other programs add at that time.  The last column is the server's own processor
time per page.  `uploads` sends everything anew in each round, and prints each round and all of them
together: one round reads the queue too few times for its 95th percentile to be steady.  With
SPINLAB_DESK_DATABASE set, the desk stands on that (empty) database.
"""

import argparse
import asyncio
import multiprocessing
import os
import statistics
import tempfile
import time
import uuid
from pathlib import Path

import httpx2
from sqlalchemy import text

from spinlab.desk import signing
from spinlab.desk.accounts import add_account
from spinlab.desk.database import Database
from tests.desk.filling import fill
from tests.desk.processes import HOST, Process, free_port, settings_of, wait_until_open
from tests.desk.rig import announcement

PASSWORD = "a quiet drum turns 400"
PAGES = (
    "/healthz",
    "/queue",
    "/queue?order=severity",
    "/queue?verdict=fault",
    "/queue?verdict=fault&state=done&order=severity",
    "/queue?state=failed",
    "/queue?text=job-00017",
    "/queue?text=nothing-fits-this",
    "/queue?verdict=fault&text=spin-0",
    "/queue?text=7",
    "/queue?text=zq",
    "/queue?verdict=fault&text=zq",
    "/queue?order=severity&text=zq",
    "/queue?text=zq+7+x",
)
REPEATS = 40
PART_BYTES = 2**20


class Service:
    """A server on a filled database, and people who are signed in."""

    def __init__(self, folder, jobs, technicians):
        settings = settings_of(folder)
        database = Database(settings)
        database.migrate()
        with database.write() as connection:
            support = add_account(connection, "support", "support", PASSWORD)
            people = [
                add_account(connection, f"t{n}", "technician", PASSWORD) for n in range(technicians)
            ]
            self.support = signing.begin(connection, support)
            tokens = [signing.begin(connection, person) for person in people]
        fill(database, people[0], jobs)
        if not database.embedded:
            # As PostgreSQL does by itself within a minute of rows coming in.
            with database.write() as connection:
                connection.execute(text("ANALYZE"))
        self.technicians = [
            (token, signing.signed_in(database, settings, token).csrf) for token in tokens
        ]
        database.close()
        self.port, self.incoming = free_port(), folder / "incoming"
        self.process = Process("serve", str(folder), str(self.port))
        wait_until_open(self.port)

    def processor_s(self):
        """Seconds of processor time that the server has taken (proc(5), fields 14 and 15)."""
        fields = (
            Path(f"/proc/{self.process.running.pid}/stat").read_text().rsplit(")", 1)[1].split()
        )
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def received_bytes(self):
        """Bytes of uploads under way."""
        return sum(path.stat().st_size for path in self.incoming.glob("*.part"))

    def reader(self):
        """A browser of support."""
        return httpx2.Client(**browser(self.port, self.support))


def measure_lists(service):
    """Of every page: milliseconds on the clock, call by call, and of the server's processor."""
    clock, spent = {page: [] for page in PAGES}, dict.fromkeys(PAGES, 0.0)
    with service.reader() as client:
        for page in PAGES:
            timed(client, page)
        for _ in range(REPEATS):
            for page in PAGES:
                before = service.processor_s()
                clock[page].append(timed(client, page))
                spent[page] += 1000 * (service.processor_s() - before) / REPEATS
    return {page: (clock[page], spent[page]) for page in PAGES}


def timed(client, address):
    """Milliseconds of one page, which must come."""
    began = time.perf_counter()
    client.get(address).raise_for_status()
    return 1000 * (time.perf_counter() - began)


def browser(port, token, csrf=""):
    """What makes a client of one person."""
    headers = {"Cookie": f"__Host-desk={token}", "X-CSRF-Token": csrf}
    return {"base_url": f"http://{HOST}:{port}", "headers": headers, "timeout": None}


async def send(port, token, csrf, content):
    """One upload in parts of a mebibyte."""
    path = f"/api/uploads/{uuid.uuid4()}"
    async with httpx2.AsyncClient(**browser(port, token, csrf)) as client:
        (await client.put(path, json=announcement(content))).raise_for_status()
        for offset in range(0, len(content), PART_BYTES):
            part, headers = content[offset : offset + PART_BYTES], {"Upload-Offset": str(offset)}
            (await client.patch(path, content=part, headers=headers)).raise_for_status()
        (await client.post(f"{path}/finish", json={})).raise_for_status()


def send_all(port, people, size):
    """One upload of each person, all at once."""

    async def at_once():
        await asyncio.gather(*(send(port, *each, os.urandom(size)) for each in people))

    asyncio.run(at_once())


def measure_uploads(service, size):
    """(milliseconds of the queue page while uploads run, seconds until all had come)."""
    work = service.port, service.technicians, size
    # A process of their own, so that the reader's clock does not count their work.
    senders = multiprocessing.get_context("spawn").Process(target=send_all, args=work)
    times = []
    with service.reader() as client:
        timed(client, "/queue")
        senders.start()
        while senders.is_alive() and service.received_bytes() == 0:
            time.sleep(0.02)
        began = time.perf_counter()
        while senders.is_alive():
            times.append(timed(client, "/queue"))
            time.sleep(0.05)
    if senders.exitcode:
        raise RuntimeError("an upload was refused")
    return times, time.perf_counter() - began


def summary(times):
    """Median, 95th percentile and longest of some times, as cells of a table."""
    times = sorted(times)
    p95 = times[min(len(times) - 1, int(0.95 * len(times)))]
    return f"{statistics.median(times):.0f} | {p95:.0f} | {times[-1]:.0f}"


def print_uploads(service, chosen):
    """Measure round after round and print a table."""
    print(f"{chosen.senders} uploads of {chosen.size_mb} MB at once, while the queue is read\n")
    print("| round | queue read | median ms | 95 % ms | longest ms | all there after | load |")
    print("|---|---|---|---|---|---|---|")
    every = []
    for number in range(chosen.rounds):
        load = os.getloadavg()[0]
        times, seconds = measure_uploads(service, chosen.size_mb * 10**6)
        every += times
        cells = (
            number + 1,
            f"{len(times)} times",
            summary(times),
            f"{seconds:.1f} s",
            f"{load:.1f}",
        )
        print(f"| {' | '.join(map(str, cells))} |", flush=True)
    print(f"| all | {len(every)} times | {summary(every)} | | |\n")


def main():
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=["lists", "uploads"])
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--senders", type=int, default=50)
    parser.add_argument("--size-mb", type=int, default=10)
    parser.add_argument("--rounds", type=int, default=5)
    chosen = parser.parse_args()
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        senders = chosen.senders if chosen.what == "uploads" else 1
        service = Service(Path(folder), chosen.jobs, senders)
        try:
            print(f"{chosen.jobs} jobs; load of the computer before: {load:.1f}\n")
            if chosen.what == "lists":
                print("| page | median ms | 95 % ms | longest ms | processor ms |")
                print("|---|---|---|---|---|")
                for page, (clock, spent) in measure_lists(service).items():
                    print(f"| `{page}` | {summary(clock)} | {spent:.0f} |")
            else:
                print_uploads(service, chosen)
            print(f"load of the computer after: {os.getloadavg()[0]:.1f}")
        finally:
            service.process.kill()


if __name__ == "__main__":
    main()
