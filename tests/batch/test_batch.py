"""A batch: everything is checked once, nothing is lost, and one bad file stops no other.

The analysis behind it is a stand-in that makes invented results.
"""

import fcntl
import json
import signal

import jsonschema
import numpy as np
import pytest
import soundfile

from spinlab.batch import run_batch
from spinlab.batch.value import Forecast
from spinlab.contained import Limits
from spinlab.errors import InputError, InvalidMachine, OutputError
from spinlab.report.json_output import schema


def test_every_recording_gets_one_result_named_by_its_content(put, batch, out):
    put("a.wav", state="clear")
    put("deep/er/b.m4a", state="fault", probability=0.9)
    tally = batch()
    assert tally.files == tally.analysed == 2
    results = [json.loads(path.read_text()) for path in (out / "results").rglob("*.json")]
    assert sorted(result["recording"]["file"] for result in results) == ["a.wav", "b.m4a"]
    for path in (out / "results").rglob("*.json"):
        assert path.name.startswith(json.loads(path.read_text())["recording"]["sha256"] + "-")


def test_the_gravest_and_then_the_surest_stand_first(put, batch, table):
    put("1.wav", state="clear")
    put("2.wav", state="attention", probability=0.9)
    put("3.wav", state="fault", probability=0.6)
    put("4.wav", do="unreadable")
    put("5.wav", state="fault", probability=0.95)
    put("6.wav", state="not measurable")
    put("7.wav", do="defect")
    batch()
    order = ["5.wav", "3.wav", "2.wav", "7.wav", "4.wav", "6.wav", "1.wav"]
    assert [row["recording"] for row in table()] == order


def test_finished_work_is_never_done_again(put, batch, made, table):
    put("a.wav")
    put("b.wav", state="fault", probability=0.9)
    first = batch()
    before = table()
    again = batch()
    assert (again.analysed, again.kept) == (0, 2)
    assert again.exit_code == first.exit_code == 11
    assert made() == {"a.wav": 1, "b.wav": 1}
    assert table() == before


def test_a_recording_renamed_or_copied_is_known_by_its_content(put, batch, uploads, made, table):
    path = put("a.wav", state="fault", probability=0.9)
    batch()
    path.rename(uploads / "renamed.wav")
    (uploads / "copy.wav").write_bytes((uploads / "renamed.wav").read_bytes())
    tally = batch()
    assert (tally.analysed, tally.files) == (0, 2)
    assert made() == {"a.wav": 1}
    assert [row["recording"] for row in table()] == ["copy.wav", "renamed.wav"]


def test_two_copies_in_one_batch_are_analysed_once(put, batch, uploads, made, table):
    content = put("a.wav").read_bytes()
    for name in ("b.wav", "c.wav"):
        (uploads / name).write_bytes(content)
    assert batch().analysed == 1
    assert sum(made().values()) == 1
    assert len(table()) == 3


def test_a_recording_that_was_changed_is_checked_anew_and_listed_once(put, batch, table):
    put("a.wav", state="clear")
    batch()
    put("a.wav", state="fault", probability=0.8)
    assert batch().analysed == 1
    assert [(row["recording"], row["outcome"]) for row in table()] == [("a.wav", "fault")]


def test_another_profile_is_other_work(put, batch, made):
    put("a.wav")
    batch()
    batch(machine="belt-brushed-1400")
    batch(machine="belt-brushed-1400")
    assert made() == {"a.wav": 2}


@pytest.mark.parametrize(
    ("wishes", "outcome", "words"),
    [
        ({"do": "unreadable"}, "unreadable", "It is empty: copy it again from the phone."),
        ({"do": "defect"}, "defect", "an invented defect"),
        ({"do": "die", "signal": int(signal.SIGSEGV)}, "crash", "SIGSEGV"),
        ({"do": "die", "signal": int(signal.SIGKILL)}, "killed", "killed from outside"),
        ({"sleep": 60}, "timeout", "not done within 8 s"),
        ({"do": "grow"}, "memory", "more memory than the 1000 MB allowed"),
    ],
)
def test_a_bad_file_is_recorded_with_its_reason_and_stops_no_other(
    wishes, outcome, words, put, batch, table
):
    put("a.wav")
    put("bad.wav", **wishes)
    put("z.wav")
    batch(limits=Limits(wall_s=8 if outcome == "timeout" else 100, memory_bytes=10**9))
    rows = {row["recording"]: row for row in table()}
    assert rows["bad.wav"]["outcome"] == outcome
    assert words in rows["bad.wav"]["sentence"]
    assert rows["a.wav"]["outcome"] == rows["z.wav"]["outcome"] == "clear"


def test_a_child_killed_from_outside_gets_a_second_chance(put, batch, tmp_path, made, table):
    put("a.wav", once=str(tmp_path / "mark"))
    batch()
    assert made("begun") == {"a.wav": 2}
    assert table()[0]["outcome"] == "clear"


def test_what_failed_is_done_again_only_on_request(put, batch, made):
    put("a.wav", do="defect")
    put("b.wav")
    batch()
    assert batch().analysed == 0
    assert batch(redo="failed").analysed == 1
    assert made("begun") == {"a.wav": 2, "b.wav": 1}
    assert batch(redo="all").analysed == 2


@pytest.mark.parametrize(
    ("wishes", "code"),
    [
        ([{}], 0),
        ([{}, {"state": "not measurable"}], 12),
        ([{"state": "not measurable"}, {"do": "unreadable"}], 20),
        ([{"do": "unreadable"}, {"do": "defect"}], 70),
        ([{"do": "defect"}, {"state": "attention", "probability": 0.5}], 10),
        ([{"state": "attention", "probability": 0.9}, {"state": "fault", "probability": 0.6}], 11),
    ],
)
def test_the_gravest_outcome_decides_the_exit_code(wishes, code, put, batch):
    for number, wish in enumerate(wishes):
        put(f"{number}.wav", **wish)
    assert batch().exit_code == code


def test_a_page_is_made_where_one_is_asked_for_even_later(put, batch, out, made, table):
    put("a.wav")
    batch()
    assert table()[0]["page"] == ""
    batch(page=True)
    assert (out / table()[0]["page"]).read_text() == "<p>a.wav</p>"
    assert made() == {"a.wav": 2}
    assert batch().analysed == batch(page=True).analysed == 0


def test_a_result_that_was_deleted_is_made_again(put, batch, out):
    put("a.wav")
    batch()
    for path in (out / "results").rglob("*.json"):
        path.unlink()
    assert batch().analysed == 1


def test_results_are_found_again_when_the_ledger_is_lost(put, batch, out, made, table):
    put("a.wav", state="fault", probability=0.9)
    batch()
    (out / "batch.sqlite").unlink()
    tally = batch()
    assert (tally.analysed, tally.exit_code) == (0, 11)
    assert made() == {"a.wav": 1}
    assert table()[0]["probability"] == "0.9"


def test_a_half_written_result_of_a_lost_machine_is_made_again(put, batch, out):
    put("a.wav")
    batch()
    (out / "batch.sqlite").unlink()
    next((out / "results").rglob("*.json")).write_text('{"format": "spinlab.res')
    assert batch().analysed == 1


def test_no_room_for_results_stops_the_batch_and_counts_no_file_as_bad(put, batch, table):
    put("a.wav")
    batch()
    put("b.wav", do="full")
    with pytest.raises(OutputError, match="no room left"):
        batch()
    assert [row["recording"] for row in table()] == ["a.wav"]


def test_two_batches_do_not_work_in_one_folder(put, batch, out):
    put("a.wav")
    out.mkdir()
    with (out / "batch.lock").open("ab") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(OutputError, match="Another batch is at work"):
            batch()
    assert batch().files == 1


def test_a_folder_with_foreign_results_is_not_written_over(put, batch, out):
    put("a.wav")
    out.mkdir()
    (out / "index.html").write_text("mine")
    with pytest.raises(OutputError, match="that no batch made"):
        batch()
    assert (out / "index.html").read_text() == "mine"


def test_a_folder_without_recordings_is_said_to_be_so(uploads, batch):
    (uploads / "photo.jpg").write_bytes(b"x")
    with pytest.raises(InputError, match="no recordings"):
        batch()


def test_the_originals_are_left_as_they_were(put, batch):
    path = put("a.wav")
    before = path.read_bytes(), path.stat().st_mtime_ns
    batch()
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


def test_nothing_half_written_is_left(put, batch, out):
    out.mkdir()
    (out / "results").mkdir()
    (out / "results" / ".spinlab-x.part").write_text("left by a kill")
    put("a.wav")
    batch()
    assert list(out.rglob("*.part")) == []


def test_a_profile_that_is_none_stops_the_batch_before_any_work(put, batch, made):
    put("a.wav")
    with pytest.raises(InvalidMachine, match="belt-brushed-1400"):
        batch(machine="belt-brushed-14OO")
    assert made("begun") == {}


def test_progress_tells_each_file_and_the_time_left(put, batch):
    for number in range(4):
        put(f"{number}.wav", sleep=0.2)
    told = []
    batch(tell=lambda status: status.name and told.append(status), workers=1)
    assert sorted(status.name for status in told) == ["0.wav", "1.wav", "2.wav", "3.wav"]
    assert [status.done for status in told] == [1, 2, 3, 4]
    assert all(status.total == 4 for status in told)
    assert all(status.left_s > 0 for status in told[:-1])
    assert (told[-1].left_s, told[-1].share) == (pytest.approx(0, abs=1e-6), 1)


def test_the_time_left_follows_from_the_bytes_done_so_far():
    forecast = Forecast(1000)
    assert forecast.left_s(5.0) is None
    forecast.begin(10.0)
    forecast.begin(11.0)
    forecast.add(250)
    # A quarter took 20 s, so three quarters take 60 s.
    assert forecast.left_s(30.0) == pytest.approx(60.0)
    forecast.add(250, total_bytes=1000)
    assert (forecast.share, forecast.left_s(30.0)) == (0.25, pytest.approx(60.0))


def test_the_work_is_done_by_as_many_processes_as_asked_for(put, batch, tmp_path):
    for number in range(6):
        put(f"{number}.wav", others=3)
    assert batch(workers=3, limits=Limits()).exit_code == 0
    # None of the first three goes on before all three have begun.
    order = (tmp_path / "calls").read_text().splitlines()
    under_way = most = 0
    for line in order:
        under_way += 1 if line.startswith("begun") else -1
        most = max(most, under_way)
    assert most == 3


def test_unless_told_otherwise_the_real_analysis_is_made(uploads, out):
    rng = np.random.default_rng(5)
    soundfile.write(uploads / "noise.wav", 0.01 * rng.normal(size=24000), 8000)
    tally = run_batch(uploads, out, workers=1, machine="belt-brushed-1400", page=True)
    result = json.loads(next((out / "results").rglob("*.json")).read_text("utf-8"))
    jsonschema.validate(result, schema())
    assert tally.exit_code == {"not measurable": 12}[result["verdict"]["state"]]
    assert next((out / "pages").rglob("*.html")).read_text("utf-8").startswith("<!DOCTYPE html>")
