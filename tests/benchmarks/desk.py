"""How the desk stands up to many at once, measured on loopback.

    python -m tests.benchmarks.desk lists [--jobs 100000]
    python -m tests.benchmarks.desk uploads [--senders 50] [--size-mb 10] [--jobs 100000]

Each prints one table.  Server and load run on the same cores.  The last column is processor time of
the server per page, which other programs on the same computer hardly change; the milliseconds of
the others are on the clock.  With SPINLAB_DESK_DATABASE set, the
desk stands on that (empty) database.
"""

import argparse
import asyncio
import os
import statistics
import tempfile
import time
import uuid
from pathlib import Path

import httpx2

from spinlab.desk import signing
from spinlab.desk.accounts import add_account
from spinlab.desk.database import Database
from tests.desk.filling import fill
from tests.desk.processes import HOST, Process, free_port, settings_of, wait_until_open
from tests.desk.rig import announcement

PASSWORD = "a quiet drum turns 400"
LISTS = (
    "/queue",
    "/queue?order=severity",
    "/queue?verdict=fault",
    "/queue?verdict=fault&state=done&order=severity",
    "/queue?state=failed",
    "/queue?text=job-00017",
    "/queue?text=nothing-fits-this",
    "/queue?verdict=fault&text=spin-0",
)
REPEATS = 20
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
        self.technicians = [
            (token, signing.signed_in(database, settings, token).csrf) for token in tokens
        ]
        database.close()
        self.port = free_port()
        self.process = Process("serve", str(folder), str(self.port))
        wait_until_open(self.port)

    def processor_s(self):
        """Seconds of processor time that the server has taken (proc(5), fields 14 and 15)."""
        fields = (
            Path(f"/proc/{self.process.running.pid}/stat").read_text().rsplit(")", 1)[1].split()
        )
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def client(self, token, csrf=""):
        """A browser of one person."""
        headers = {"Cookie": f"__Host-desk={token}", "X-CSRF-Token": csrf}
        address = f"http://{HOST}:{self.port}"
        return httpx2.AsyncClient(base_url=address, headers=headers, timeout=120)


async def measure_lists(service):
    """Milliseconds of every list, one call after the other."""
    found = {}
    async with service.client(service.support) as client:
        for address in LISTS:
            await timed(client, address)
            before = service.processor_s()
            times = [await timed(client, address) for _ in range(REPEATS)]
            found[address] = times, 1000 * (service.processor_s() - before) / REPEATS
    return found


async def timed(client, address):
    """Milliseconds of one page, which must come."""
    began = time.perf_counter()
    answer = await client.get(address)
    answer.raise_for_status()
    return 1000 * (time.perf_counter() - began)


async def send(service, token, csrf, content):
    """One upload in parts of a mebibyte."""
    path = f"/api/uploads/{uuid.uuid4()}"
    async with service.client(token, csrf) as client:
        (await client.put(path, json=announcement(content))).raise_for_status()
        for offset in range(0, len(content), PART_BYTES):
            part, headers = content[offset : offset + PART_BYTES], {"Upload-Offset": str(offset)}
            (await client.patch(path, content=part, headers=headers)).raise_for_status()
        (await client.post(f"{path}/finish", json={})).raise_for_status()


async def measure_uploads(service, size):
    """(milliseconds of the queue page while uploads run, seconds until all had come)."""
    contents = [os.urandom(size) for _ in service.technicians]
    began = time.perf_counter()
    sending = asyncio.gather(
        *(
            send(service, *each, content)
            for each, content in zip(service.technicians, contents, strict=True)
        )
    )
    times = []
    async with service.client(service.support) as client:
        while not sending.done():
            times.append(await timed(client, "/queue"))
            await asyncio.sleep(0.05)
    await sending
    return times, time.perf_counter() - began


def row(name, times, processor_ms=None):
    """One line of a table."""
    times = sorted(times)
    p95 = times[min(len(times) - 1, int(0.95 * len(times)))]
    spent = "" if processor_ms is None else f"{processor_ms:.1f}"
    clock = f"{statistics.median(times):.0f} | {p95:.0f} | {times[-1]:.0f}"
    return f"| `{name}` | {len(times)} | {clock} | {spent} |"


def main():
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=["lists", "uploads"])
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--senders", type=int, default=50)
    parser.add_argument("--size-mb", type=int, default=10)
    chosen = parser.parse_args()
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        senders = chosen.senders if chosen.what == "uploads" else 1
        service = Service(Path(folder), chosen.jobs, senders)
        try:
            print(f"{chosen.jobs} jobs; load of the computer before: {load:.1f}\n")
            print("| page | calls | median ms | 95 % ms | longest ms | processor ms |")
            print("|---|---|---|---|---|---|")
            if chosen.what == "lists":
                for address, measured in asyncio.run(measure_lists(service)).items():
                    print(row(address, *measured), flush=True)
            else:
                times, seconds = asyncio.run(measure_uploads(service, chosen.size_mb * 10**6))
                print(row(f"/queue during {senders} uploads of {chosen.size_mb} MB", times))
                print(f"\nall uploads done after {seconds:.1f} s")
        finally:
            service.process.kill()


if __name__ == "__main__":
    main()
