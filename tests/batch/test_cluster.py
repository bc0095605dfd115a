"""The same batch on a real Dask scheduler with two worker processes, one of which is killed.

The analysis is a stand-in that writes down when it begins and when it has made a result.
"""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from spinlab.batch.cluster import ClusterEngine
from spinlab.contained import Limits
from spinlab.errors import InputError

pytest.importorskip("distributed")
PROJECT = Path(__file__).parents[2]


class Cluster:
    """A scheduler and two workers with one thread each, as processes of their own."""

    def __init__(self, folder):
        self._note = folder / "scheduler.json"
        self.folder = folder
        options = ("--port", "0", "--host", "127.0.0.1", "--no-dashboard")
        self.scheduler = self._start("scheduler", *options)
        self.workers = [self.add_worker(), self.add_worker()]
        self.address = json.loads(self._note.read_text())["address"]

    def add_worker(self):
        """One more worker, without a keeper that would start it again."""
        _wait_until(self._note.exists)
        return self._start("worker", "--nthreads", "1", "--no-nanny", "--no-dashboard")

    def close(self):
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()

    def _start(self, what, *options):
        command = [sys.executable, "-W", "ignore", "-m", "dask", what, *options]
        with (self.folder / "dask.log").open("a") as log:
            return subprocess.Popen(
                [*command, "--scheduler-file", str(self._note)],
                cwd=self.folder,
                env={**os.environ, "PYTHONPATH": str(PROJECT)},
                stdout=log,
                stderr=log,
            )


def _wait_until(condition):
    until = time.monotonic() + 120
    while not condition():
        assert time.monotonic() < until, "it did not come about in time"
        time.sleep(0.02)


@pytest.fixture
def cluster(tmp_path):
    folder = tmp_path / "dask"
    folder.mkdir()
    made = Cluster(folder)
    yield made
    made.close()


def test_a_worker_killed_mid_run_costs_nothing_and_doubles_nothing(
    cluster, put, batch, out, table, tmp_path
):
    for number in range(12):
        put(f"{number}.wav", sleep=0.3)
    put("bad.wav", do="defect")
    killed = []

    def kill_one(status):
        if status.done == 4 and not killed:
            cluster.workers[0].kill()
            cluster.workers[0].wait()
            killed.append(status.name)

    tally = batch(scheduler=cluster.address, tell=kill_one)
    assert killed
    assert tally.analysed == tally.files == 13
    assert sorted(row["recording"] for row in table()) == sorted(
        [*(f"{number}.wav" for number in range(12)), "bad.wav"]
    )
    assert len(list((out / "results").rglob("*.json"))) == 12
    assert [row["outcome"] for row in table()] == ["defect"] + ["clear"] * 12
    # Begun twice may have been the file in the killed worker's hand, and the one whose answer it
    # still held.
    begun = (tmp_path / "calls").read_text().count("begun")
    assert begun in (13, 14, 15)


def test_a_batch_begun_on_one_machine_goes_on_on_a_cluster(cluster, put, batch, made):
    put("a.wav")
    batch()
    put("b.wav")
    tally = batch(scheduler=cluster.address)
    assert (tally.analysed, tally.kept) == (1, 1)
    assert made() == {"a.wav": 1, "b.wav": 1}


def test_a_scheduler_that_dies_ends_the_batch_with_one_sentence_and_keeps_what_is_done(
    cluster, put, batch, made, table
):
    put("a.wav")
    put("b.wav", sleep=60)

    def kill_scheduler(status):
        if status.name:
            cluster.scheduler.kill()

    with pytest.raises(InputError, match="is gone; run the same command again"):
        batch(scheduler=cluster.address, tell=kill_scheduler)
    assert [row["recording"] for row in table()] == ["a.wav"]


def test_no_scheduler_at_the_address_is_said_in_one_sentence(monkeypatch):
    monkeypatch.setattr("spinlab.batch.cluster.CONNECT_TIMEOUT_S", 1)
    with pytest.raises(InputError, match=r"No Dask scheduler answers at tcp://127\.0\.0\.1:9"):
        ClusterEngine("tcp://127.0.0.1:9", Limits())
