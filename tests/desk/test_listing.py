"""The queue: filters, search and pages that neither lose nor repeat a job."""

import pytest

from spinlab.desk import listing, searching
from spinlab.desk.listing import PAGE_ROWS, Wanted
from spinlab.desk.tables import job
from tests.desk.filling import fill

VERDICTS = ("clear", "attention", "fault", "not measurable")


@pytest.fixture
def queue(rig):
    fill(rig.database, rig.person("technician"), 220)
    return rig


def listed(rig, role="support", **wanted):
    with rig.database.read() as connection:
        return listing.list_jobs(connection, rig.person(role), Wanted(**wanted))


def whole(rig, **wanted):
    rows, after = [], ""
    while True:
        found = listed(rig, after=after, **wanted)
        assert len(found.rows) <= PAGE_ROWS
        rows += found.rows
        after = found.after
        if not after:
            return rows


@pytest.mark.parametrize("order", ["newest", "severity"])
def test_turning_all_pages_shows_every_job_once_in_order(queue, order):
    rows = whole(queue, order=order)
    assert len({row.id for row in rows}) == len(rows) == 220
    keys = [(row.severity if order == "severity" else 0, row.created_s) for row in rows]
    assert keys == sorted(keys, reverse=True)


def test_a_filter_shows_what_fits_and_nothing_else(queue):
    rows = whole(queue, verdict="fault", state="done")
    assert rows
    assert {(row.verdict_state, row.state) for row in rows} == {("fault", "done")}
    assert len(rows) == sum(row.verdict_state == "fault" for row in whole(queue))


def test_search_finds_words_in_any_order_and_case(queue):
    assert [row.reference for row in whole(queue, text="JOB-00017")] == ["job-00017"]
    assert len(whole(queue, text="technician job-00017")) == 1
    assert whole(queue, text="job-00017 nobody") == []


@pytest.mark.parametrize("few", [0, 1, 2000])
@pytest.mark.parametrize("text", ["17", "0017", "b-000", "job-0001 technician", "400 spin", "ob-x"])
def test_search_finds_every_piece_whether_few_or_many_jobs_hold_it(queue, monkeypatch, few, text):
    monkeypatch.setattr(searching, "_FEW", few)
    rows = whole(queue)
    assert len(rows) == 220
    texts = {row.id: f"{row.reference} {row.file_name} technician {row.profile}" for row in rows}
    fitting = [row.id for row in rows if all(word in texts[row.id] for word in text.split())]
    assert [row.id for row in whole(queue, text=text)] == fitting
    faults = {row.id for row in rows if row.verdict_state == "fault"}
    found = {row.id for row in whole(queue, text=text, verdict="fault", order="severity")}
    assert found == faults & set(fitting)


def test_a_job_is_found_by_what_it_says_now(queue):
    assert whole(queue, text="job-00017")
    with queue.database.write() as connection:
        change = job.update().where(job.c.reference == "job-00017")
        connection.execute(change.values(search="elderflower"))
        connection.execute(job.delete().where(job.c.reference == "job-00018"))
    assert whole(queue, text="job-00017") == whole(queue, text="job-00018") == []
    assert [row.reference for row in whole(queue, text="Elderflower")] == ["job-00017"]


@pytest.mark.parametrize(
    "text", ["%", "_", "\\", "'", '"', '""""', "%' OR 1=1 --", "x\0yz", "NOT x*^:{}"]
)
def test_signs_of_the_query_language_are_letters_like_others(queue, text):
    assert whole(queue, text=text) == []


@pytest.mark.parametrize("after", ["x", "1_2_3_4", "nan_x", "inf_x", "1e999_x", "_", "'_'"])
def test_a_mark_that_makes_no_sense_begins_at_the_beginning(queue, after):
    assert listed(queue, after=after).rows == listed(queue).rows


def test_a_technician_finds_the_own_jobs_only(queue):
    queue.person("technician", "another")
    with queue.database.read() as connection:
        found = listing.list_jobs(connection, queue.people["another"], Wanted())
    assert found.rows == []
    assert listed(queue, role="trainer").rows == []
    assert len(listed(queue, role="technician").rows) == PAGE_ROWS
