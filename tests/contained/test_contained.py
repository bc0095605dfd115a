"""Work in a child process: answers come back, and whatever goes wrong ends the child alone."""

import json
import os
import pickle
import signal
import subprocess
import sys
import threading
import time

import pytest

from spinlab.contained import Contained, Limits, run_contained
from spinlab.errors import JobEnded, UnreadableRecording
from tests.contained import jobs

needs_posix = pytest.mark.skipif(sys.platform == "win32", reason="limits of POSIX")
needs_linux = pytest.mark.skipif(sys.platform != "linux", reason="needs Linux")


@pytest.fixture
def child():
    with Contained(Limits(wall_s=60)) as contained:
        yield contained


def alive(pid):
    """Whether a process of that number runs (one that ended but was not waited for does not)."""
    try:
        with open(f"/proc/{pid}/stat") as file:
            return file.read().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def wait_until(condition, *, within_s=20.0):
    until = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < until, "it did not come about in time"
        time.sleep(0.02)


def test_the_functions_value_comes_back(child):
    assert child.call(jobs.double, 21, plus=1) == 43


def test_job_after_job_runs_in_one_process_that_is_not_ours(child):
    first, second = child.call(jobs.which_process), child.call(jobs.which_process)
    assert first == second == child.pid
    assert first != os.getpid()


def test_a_process_is_renewed_after_its_share_of_jobs():
    with Contained(jobs_per_process=2) as child:
        pids = [child.call(jobs.which_process) for _ in range(5)]
    assert pids[0] == pids[1] != pids[2] == pids[3] != pids[4]


def test_an_error_of_ours_arrives_as_it_was_raised(child):
    with pytest.raises(UnreadableRecording, match=r"^spin\.wav is empty\.$"):
        child.call(jobs.raise_unreadable, "spin.wav is empty.")


def test_any_other_error_is_a_defect_and_names_it(child):
    with pytest.raises(JobEnded, match="ZeroDivisionError: division by zero") as caught:
        child.call(jobs.divide_by_zero)
    assert caught.value.kind == "defect"


def test_a_library_that_prints_does_not_garble_the_answer(child):
    assert child.call(jobs.print_to_everything) == "done"
    assert child.call(jobs.double, 1) == 2


@needs_posix
@pytest.mark.parametrize(
    ("number", "kind"),
    [(signal.SIGSEGV, "crash"), (signal.SIGABRT, "crash"), (signal.SIGKILL, "killed")],
)
def test_a_child_that_dies_is_told_by_its_signal_and_replaced(child, number, kind):
    with pytest.raises(JobEnded) as caught:
        child.call(jobs.kill_itself, int(number))
    assert caught.value.kind == kind
    assert kind == "killed" or number.name in str(caught.value)
    assert child.call(jobs.double, 4) == 8


def test_a_child_that_leaves_without_a_word_has_crashed(child):
    with pytest.raises(JobEnded, match="exit code 3") as caught:
        child.call(jobs.leave, 3)
    assert caught.value.kind == "crash"


def test_a_job_that_takes_too_long_is_stopped_and_the_next_one_runs():
    with Contained(Limits(wall_s=1.5)) as child:
        with pytest.raises(JobEnded, match=r"not done within 1\.5 s") as caught:
            child.call(jobs.sleep, 60)
        assert caught.value.kind == "timeout"
        assert child.call(jobs.double, 4) == 8


@needs_posix
def test_processor_time_is_limited_for_each_job_and_not_for_all_together():
    with Contained(Limits(wall_s=60, cpu_s=2)) as child:
        for _ in range(3):
            assert child.call(jobs.spin, 1) == 1
        with pytest.raises(JobEnded, match="more than 2 s of the processor") as caught:
            child.call(jobs.spin, 30)
    assert caught.value.kind == "cpu"


@needs_linux
def test_memory_beyond_the_limit_is_refused_and_the_next_job_runs():
    with Contained(Limits(wall_s=60, memory_bytes=500 * 10**6)) as child:
        assert child.call(jobs.fill_memory, 300) == 300 * 10**6
        with pytest.raises(JobEnded, match="more memory than the 500 MB allowed") as caught:
            child.call(jobs.fill_memory, 600)
        assert caught.value.kind == "memory"
        assert child.call(jobs.double, 4) == 8


@needs_posix
def test_a_file_larger_than_the_limit_cannot_be_written():
    with Contained(Limits(wall_s=60, file_bytes=10**6)) as child:
        assert child.call(jobs.write_file, 900_000) == 900_000
        with pytest.raises(JobEnded, match="File too large"):
            child.call(jobs.write_file, 1_100_000)


def test_an_answer_without_end_is_not_taken_in(child):
    with pytest.raises(JobEnded, match="answered nonsense") as caught:
        child.call(jobs.answer_without_end)
    assert caught.value.kind == "crash"
    assert child.call(jobs.double, 4) == 8


def test_only_plain_values_cross_the_border(child):
    with pytest.raises(JobEnded, match="not JSON serializable"):
        child.call(jobs.not_json)
    with pytest.raises(TypeError, match="not JSON serializable"):
        child.call(jobs.double, {1, 2})


def test_a_function_that_no_other_process_can_find_is_refused(child):
    with pytest.raises(ValueError, match="at the top of a module"):
        child.call(lambda: 1)


def test_the_childs_environment_holds_no_secret_and_one_thread(monkeypatch, child):
    monkeypatch.setenv("SPINLAB_TEST_PASSWORD", "secret")
    seen = child.call(jobs.environment)
    assert "secret" not in json.dumps(seen)
    assert seen["OMP_NUM_THREADS"] == seen["OPENBLAS_NUM_THREADS"] == "1"


@needs_linux
def test_the_numerical_libraries_start_no_threads_of_their_own(child):
    # The main thread, and the one that listens for the parent.
    assert child.call(jobs.threads) == 2


def test_what_a_job_leaves_behind_is_cleared_away():
    with Contained() as child:
        left = child.call(jobs.leave_scratch_file)
        assert os.path.exists(left)
    assert not os.path.exists(left)


@needs_posix
def test_closing_ends_a_job_under_way_and_all_it_started():
    child = Contained()
    grandchild = child.call(jobs.start_grandchild)
    assert alive(grandchild)
    stopper = threading.Timer(0.3, child.close)
    stopper.start()
    with pytest.raises(JobEnded) as caught:
        child.call(jobs.sleep, 60)
    assert caught.value.kind == "stopped"
    wait_until(lambda: not alive(grandchild))
    with pytest.raises(JobEnded):
        child.call(jobs.double, 1)


@needs_linux
def test_a_parent_killed_outright_takes_its_child_and_its_scratch_files_along(tmp_path):
    note = tmp_path / "note"
    script = (
        "from spinlab.contained import run_contained; from tests.contained import jobs; "
        f"run_contained(jobs.stay_with_scratch_file, {str(note)!r})"
    )
    parent = subprocess.Popen([sys.executable, "-c", script])
    wait_until(lambda: note.exists() and " " in note.read_text())
    pid, scratch = note.read_text().split()
    assert alive(pid)
    parent.kill()
    parent.wait()
    wait_until(lambda: not alive(pid))
    assert not os.path.exists(os.path.dirname(scratch))


def test_a_child_that_cannot_start_is_told_apart_from_a_job_that_fails(monkeypatch):
    monkeypatch.setattr("sys.executable", "/bin/false")
    with Contained() as child, pytest.raises(JobEnded, match="No child process") as caught:
        child.call(jobs.double, 1)
    assert caught.value.kind == "start"


def test_the_kind_of_ending_survives_the_way_between_processes():
    again = pickle.loads(pickle.dumps(JobEnded("It was stopped.", kind="timeout")))
    assert (again.kind, str(again)) == ("timeout", "It was stopped.")


def test_once_is_enough_for_a_single_job():
    assert run_contained(jobs.double, 5, limits=Limits(wall_s=60)) == 10


@pytest.mark.parametrize(
    "wrong", [{"wall_s": 0}, {"cpu_s": float("nan")}, {"memory_bytes": -1}, {"threads": 0}]
)
def test_a_limit_that_makes_no_sense_is_refused(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        Limits(**wrong)
