"""Killed outright at any point, a batch loses nothing but the files in hand, and doubles nothing.

The analysis is a stand-in that writes down when it begins and when it has made a result.
"""

import csv
import json
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest

from tests.batch.stubs import calls

WORKERS = 2
FILES_PER_KILL = 4
PROJECT = Path(__file__).parents[2]

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")


class Process:
    """A batch as a process of its own, over `uploads`, into `out`."""

    def __init__(self, uploads, out):
        script = (
            "import sys; sys.path.insert(0, sys.argv[3]);"
            "from spinlab.batch import run_batch; from tests.batch.stubs import invented;"
            f"run_batch(sys.argv[1], sys.argv[2], work=invented, workers={WORKERS})"
        )
        arguments = [sys.executable, "-c", script, str(uploads), str(out), str(PROJECT)]
        self.process = subprocess.Popen(arguments)

    def children(self):
        """Numbers of the processes that it has started."""
        task = Path(f"/proc/{self.process.pid}/task")
        lists = [file.read_text().split() for file in task.glob("*/children")]
        return [int(number) for numbers in lists for number in numbers]

    def kill(self):
        """Kill it, not its children, which must notice by themselves."""
        children = self.children()
        self.process.kill()
        self.process.wait()
        until = time.monotonic() + 30
        while any(_runs(number) for number in children):
            assert time.monotonic() < until, "a child outlived its batch"
            time.sleep(0.01)


def _runs(number):
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def finished(out):
    """The hashes of all contents with a result, each result read and checked."""
    found = []
    for path in (out / "results").rglob("*.json"):
        result = json.loads(path.read_text("utf-8"))
        assert path.name.startswith(result["recording"]["sha256"])
        found.append(result["recording"]["file"])
    return Counter(found)


def begun(tmp_path):
    return Counter(
        {Path(path).name: times for path, times in calls(tmp_path / "calls")["begun"].items()}
    )


def kill_again_and_again(times, seed, put, uploads, out, tmp_path):
    """Kill a batch so many times at random points, then let it finish; counts what went wrong."""
    rng = random.Random(seed)
    names = [f"{number}.wav" for number in range(times * FILES_PER_KILL)]
    for name in names:
        put(name, sleep=0.05, state=rng.choice(["clear", "not measurable"]))
    wrong = Counter(lost=0, doubled=0, redone=0, beyond_those_in_hand=0)
    for _ in range(times):
        before, begun_before = finished(out), begun(tmp_path)
        run = Process(uploads, out)
        goal = len(before) + rng.randrange(FILES_PER_KILL)
        wait_until(lambda goal=goal: len(finished_names(out)) >= goal)
        time.sleep(rng.uniform(0, 0.15))
        run.kill()
        after = finished(out)
        begun_now = begun(tmp_path) - begun_before
        wrong["lost"] += len(before - after)
        wrong["doubled"] += sum(after.values()) - len(after)
        wrong["redone"] += sum(begun_now[name] for name in before)
        in_vain = sum(begun_now.values()) - len(after - before)
        wrong["beyond_those_in_hand"] += in_vain > WORKERS
    last = Process(uploads, out)
    assert last.process.wait(120) == 0
    with (out / "results.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = Counter(row["recording"] for row in csv.DictReader(file))
    for counted in (rows, finished(out)):
        wrong["lost"] += len(set(names) - set(counted))
        wrong["doubled"] += sum(counted.values()) - len(counted)
    return wrong


def wait_until(condition):
    until = time.monotonic() + 120
    while not condition():
        assert time.monotonic() < until, "the batch does not go on"
        time.sleep(0.005)


def finished_names(out):
    return list((out / "results").rglob("*.json"))


def test_five_kills_lose_nothing_and_double_nothing(put, uploads, out, tmp_path):
    wrong = kill_again_and_again(5, 1, put, uploads, out, tmp_path)
    assert wrong == {"lost": 0, "doubled": 0, "redone": 0, "beyond_those_in_hand": 0}


@pytest.mark.slow
def test_thirty_kills_lose_nothing_and_double_nothing(put, uploads, out, tmp_path):
    wrong = kill_again_and_again(30, 2, put, uploads, out, tmp_path)
    print(f"30 kills, {30 * FILES_PER_KILL} files: {dict(wrong)}")
    assert wrong == {"lost": 0, "doubled": 0, "redone": 0, "beyond_those_in_hand": 0}
    with closing(sqlite3.connect(out / "batch.sqlite")) as ledger:
        assert ledger.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_the_keyboard_stops_it_at_once_and_the_index_shows_what_is_finished(put, uploads, out):
    for number in range(4):
        put(f"{number}.wav", sleep=0.05)
    put("5.wav", sleep=100)
    put("6.wav", sleep=100)
    run = Process(uploads, out)
    wait_until(lambda: len(finished_names(out)) == 4)
    children = run.children()
    run.process.send_signal(signal.SIGINT)
    run.process.wait(30)
    assert not any(_runs(number) for number in children)
    page = (out / "index.html").read_text("utf-8")
    assert [f"{number}.wav" in page for number in (0, 1, 2, 3, 5, 6)] == [True] * 4 + [False] * 2
