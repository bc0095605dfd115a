"""Jobs under leases: at least once, counted once, whoever dies when."""

import dataclasses
import threading
import time

import pytest

from spinlab.desk import jobs, worker
from spinlab.desk.jobs import Outcome
from spinlab.desk.tables import job

OUTCOME = Outcome(
    verdict_state="clear",
    verdict_sentence="An invented verdict.",
    software="0",
    findings=(
        {
            "kind": "belt",
            "subject": "belt slip",
            "state": "clear",
            "probability": 0.1,
            "reason": "",
            "next_step": "",
        },
    ),
)


def claim(rig, **options):
    settings = dataclasses.replace(rig.settings, **options)
    with rig.database.write() as connection:
        return jobs.claim(connection, settings)


def finish(rig, held):
    with rig.database.write() as connection:
        return jobs.finish(connection, held, OUTCOME)


def test_a_claimed_job_is_nobody_elses_until_its_lease_runs_out(rig):
    rig.upload(rig.browser("technician"))
    first = claim(rig)
    assert claim(rig) is None
    with rig.database.write() as connection:
        connection.execute(job.update().values(lease_until_s=time.time() - 1))
    second = claim(rig)
    assert (second.job_id, second.attempt) == (first.job_id, 2)


def test_of_two_workers_that_get_to_the_end_the_one_with_the_lease_counts(rig):
    rig.upload(rig.browser("technician"))
    first = claim(rig, lease_s=-1)
    second = claim(rig)
    assert finish(rig, first) is False
    assert finish(rig, second) is True
    assert finish(rig, second) is False
    found = rig.browser("technician").get(f"/api/jobs/{second.job_id}").json()
    assert len(found["findings"]) == 1


def test_jobs_are_taken_in_the_order_in_which_they_came(rig):
    client = rig.browser("technician")
    came = [rig.upload(client, bytes([number])) for number in range(4)]
    assert [claim(rig).job_id for _ in range(4)] == came


def test_workers_at_once_never_hold_the_same_job(rig):
    client = rig.browser("technician")
    for number in range(12):
        rig.upload(client, bytes([number]))
    held, lock = [], threading.Lock()

    def take():
        while (got := claim(rig)) is not None:
            with lock:
                held.append(got.job_id)

    threads = [threading.Thread(target=take) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(held) == len(set(held)) == 12


def test_a_job_whose_workers_die_time_after_time_is_set_aside_with_the_reason(embedded):
    job_id = embedded.upload(embedded.browser("technician"))
    for _ in range(embedded.settings.attempts):
        assert claim(embedded, lease_s=-1) is not None
    assert embedded.work() == 1
    told = embedded.browser("technician").get(f"/api/jobs/{job_id}").json()
    assert told["state"] == "failed"
    assert "its worker died each time" in told["failure"]


def test_a_worker_that_is_told_to_stop_hands_its_job_back_unharmed(embedded):
    job_id = embedded.upload(embedded.browser("technician"), b"slow")
    stop = threading.Event()
    threading.Timer(0.5, stop.set).start()
    assert worker.work_once(embedded.bench, stop) is True
    with embedded.database.read() as connection:
        row = connection.execute(job.select().where(job.c.id == job_id)).one()
    assert (row.state, row.attempts, row.lease) == ("waiting", 0, None)
    assert list(embedded.vault.result_folders()) == []


def test_an_analysis_beyond_its_time_is_ended_and_told_in_one_sentence(embedded):
    limits = dataclasses.replace(embedded.settings.limits, wall_s=1.0)
    settings = dataclasses.replace(embedded.settings, limits=limits)
    job_id = embedded.upload(embedded.browser("technician"), b"slow")
    worker.work_once(dataclasses.replace(embedded.bench, settings=settings))
    told = embedded.browser("technician").get(f"/api/jobs/{job_id}").json()
    assert "not done within 1 s" in told["failure"]


def test_a_job_deleted_while_it_is_analysed_leaves_nothing_behind(embedded):
    from spinlab.desk.erasure import erase

    job_id = embedded.upload(embedded.browser("technician"), b"slow")
    eraser = threading.Timer(
        0.5, erase, (embedded.database, embedded.vault, job_id), {"account": "support"}
    )
    eraser.start()
    worker.work_once(embedded.bench)
    eraser.join()
    assert list(embedded.vault.result_folders()) == []
    assert list(embedded.vault.originals()) == []


def test_results_of_a_worker_that_was_killed_are_swept_once_they_are_old(embedded):
    import os

    from spinlab.desk import serving

    job_id = embedded.finished_job()
    held_by_none = embedded.vault.results(job_id, "0" * 8 + "0" * 24)
    held_by_none.mkdir()
    kept = [path for path in embedded.vault.result_folders() if path != held_by_none]
    serving.sweep(embedded.settings, embedded.database, embedded.vault)
    assert held_by_none.exists()
    os.utime(held_by_none, (0, 0))
    os.utime(kept[0], (0, 0))
    serving.sweep(embedded.settings, embedded.database, embedded.vault)
    assert list(embedded.vault.result_folders()) == kept


@pytest.mark.parametrize("content", [b"\x00", b"\x01", b"\x02", b"\x03"])
def test_a_job_done_twice_over_has_one_result(embedded, content):
    job_id = embedded.finished_job(content)
    with embedded.database.write() as connection:
        change = job.update().where(job.c.id == job_id)
        connection.execute(change.values(state="waiting", attempts=0))
    assert embedded.work() == 1
    told = embedded.browser("technician").get(f"/api/jobs/{job_id}").json()
    assert [each["number"] for each in told["findings"]] == [0, 1]
