"""Progress shows on a terminal only, after a second, and leaves a clean line."""

import io

import pytest
from spinlab_cli import progress as module
from spinlab_cli.progress import Progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture
def clock(monkeypatch):
    now = [100.0]
    monkeypatch.setattr(module.time, "monotonic", lambda: now[0])
    return now


def test_nothing_is_shown_where_standard_error_is_no_terminal(monkeypatch, clock):
    stream = io.StringIO()
    monkeypatch.setattr(module.sys, "stderr", stream)
    progress = Progress()
    clock[0] += 5
    progress("Reading the file", 0.5)
    progress.wipe()
    assert stream.getvalue() == ""


def test_short_work_shows_nothing(monkeypatch, clock):
    stream = Terminal()
    monkeypatch.setattr(module.sys, "stderr", stream)
    progress = Progress()
    clock[0] += 0.9
    progress("Reading the file", 0.9)
    assert stream.getvalue() == ""


def test_longer_work_shows_step_share_and_time_left(monkeypatch, clock):
    stream = Terminal()
    monkeypatch.setattr(module.sys, "stderr", stream)
    step = Progress().step("Reading the file")
    clock[0] += 4
    step(0.25)
    # 25 % took 4 s, so the other 75 % take 12 s.
    assert stream.getvalue() == "\rReading the file  25 %, about 12 s left"


def test_the_line_is_wiped_at_the_end(monkeypatch, clock):
    stream = Terminal()
    monkeypatch.setattr(module.sys, "stderr", stream)
    progress = Progress()
    clock[0] += 2
    progress("Reading the file", 0.5)
    shown = len(stream.getvalue()) - 1
    progress.wipe()
    assert stream.getvalue().endswith("\r" + " " * shown + "\r")


def test_quiet_shows_nothing_even_on_a_terminal(monkeypatch, clock):
    stream = Terminal()
    monkeypatch.setattr(module.sys, "stderr", stream)
    progress = Progress(wanted=False)
    clock[0] += 5
    progress("Reading the file", 0.5)
    assert stream.getvalue() == ""
