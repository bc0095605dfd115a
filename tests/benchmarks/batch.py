"""Memory and time of a batch against the number of files, the analysis replaced by a stand-in.

    python -m tests.benchmarks.batch [--files 10000] [--workers 2] [--folder FOLDER]

Every file is a few bytes of its own and gives an invented result as large as a real one.  Printed
are the resident memory of the batch's own process and of its largest child as the work goes on,
the time each file costs beside its analysis, and the same for a second run over finished work.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path

from spinlab.batch import Status, Tally, run_batch
from tests.batch.stubs import invented

# Size of the JSON of a spin test of 80 s.
RESULT_BYTES = 38_000
STATES = ("clear", "attention", "fault", "not measurable")
LOOKS = 10


def resident_mb(pid: int | str = "self") -> float:
    """Resident memory of a process, MB; 0 if it is gone."""
    try:
        status = Path(f"/proc/{pid}/status").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return 0.0
    line = next((x for x in status.splitlines() if x.startswith("VmRSS")), "VmRSS: 0")
    return float(line.split()[1]) * 1024 / 1e6


def children() -> list[str]:
    """Numbers of the processes that this one has started."""
    lists = [file.read_text().split() for file in Path("/proc/self/task").glob("*/children")]
    return [number for numbers in lists for number in numbers]


def make_files(folder: Path, count: int) -> None:
    """So many files, each with content of its own, in folders of a hundred."""
    for number in range(count):
        path = folder / f"shop-{number // 100:03d}" / f"unit-{number:05d}.wav"
        path.parent.mkdir(parents=True, exist_ok=True)
        state = STATES[number % len(STATES)]
        probability = round(0.5 + (number % 997) / 2000, 4)
        path.write_text(
            json.dumps(
                {"state": state, "probability": probability, "padding": RESULT_BYTES}
                | {"number": number}
            )
        )


class Watcher:
    """Prints memory ten times on the way."""

    def __init__(self, count: int) -> None:
        self._every = max(1, count // LOOKS)
        self.began = time.perf_counter()

    def __call__(self, status: Status) -> None:
        """Told after every file."""
        if status.name and status.done % self._every == 0:
            largest = max((resident_mb(pid) for pid in children()), default=0.0)
            print(
                f"{status.done:7d} files  {resident_mb():6.1f} MB here  {largest:6.1f} MB largest "
                f"child  {time.perf_counter() - self.began:6.1f} s",
                flush=True,
            )


def run(uploads: Path, out: Path, *, count: int, workers: int) -> Tally:
    """One run, with its memory."""
    before, began = resident_mb(), time.perf_counter()
    tally = run_batch(uploads, out, work=invented, workers=workers, tell=Watcher(count))
    took = time.perf_counter() - began
    print(
        f"resident before {before:.1f} MB, after {resident_mb():.1f} MB; {tally.files} files, "
        f"{tally.analysed} analysed, {tally.kept} kept; {took:.1f} s, "
        f"{1000 * took / tally.files:.2f} ms a file"
    )
    return tally


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--folder", type=Path, help="keep everything here, index page included")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        root = options.folder or Path(scratch)
        make_files(root / "uploads", options.files)
        # Once over a handful of files, so that imports and buffers are paid for.
        make_files(root / "first", 20)
        run_batch(root / "first", root / "first-out", work=invented, workers=options.workers)
        print(
            f"{options.files} files of {RESULT_BYTES / 1000:.0f} kB results, load "
            f"{os.getloadavg()[0]:.1f} on {os.cpu_count()} processors"
        )
        for _ in ("new", "finished"):
            tally = run(
                root / "uploads", root / "out", count=options.files, workers=options.workers
            )
        for file in (tally.index, tally.table):
            print(f"{Path(file).name}: {Path(file).stat().st_size / 1e6:.2f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
