"""`spinlab batch`: a line for each file, a sum at the end, and the gravest outcome's exit code."""

import json
import os
import re

import pytest


@pytest.fixture
def stubbed(monkeypatch):
    """Let the command work with a stand-in that makes invented results."""
    from spinlab.batch import begin
    from tests.batch.stubs import invented

    real = begin.run_batch
    monkeypatch.setattr(begin, "run_batch", lambda *a, **k: real(*a, **k, work=invented))


@pytest.fixture
def folder(tmp_path):
    uploads = tmp_path / "uploads"
    uploads.mkdir()
    for name, wishes in {
        "a.wav": {"state": "clear"},
        "b.wav": {"state": "fault", "probability": 0.9},
        "c.wav": {"do": "unreadable"},
    }.items():
        (uploads / name).write_text(json.dumps(wishes))
    return uploads


def test_each_file_gets_a_line_and_the_gravest_decides_the_code(stubbed, folder, spinlab, tmp_path):
    code, out, err = spinlab("batch", folder, "--out", tmp_path / "out")
    assert code == 11
    assert err == ""
    lines = sorted(line for line in out.splitlines() if re.match(r".*\.wav  ", line))
    assert lines == [
        "clear           a.wav  An invented verdict: clear.",
        "fault           b.wav  An invented verdict: fault.",
        "unreadable      c.wav  It is empty: copy it again from the phone.",
    ]
    assert "3 files: 1 with a fault, 1 not readable or usable, 1 fine." in out
    assert str(tmp_path / "out" / "index.html") in out


def test_the_second_time_nothing_is_left_to_do(stubbed, folder, spinlab, tmp_path):
    spinlab("batch", folder, "--out", tmp_path / "out")
    code, out, _ = spinlab("batch", folder, "--out", tmp_path / "out")
    assert code == 11
    assert "0 analysed now, 3 known before or the same content." in out


def test_quiet_prints_nothing_and_the_code_still_tells(stubbed, folder, spinlab, tmp_path):
    assert spinlab("batch", folder, "--out", tmp_path / "out", "--quiet") == (11, "", "")


def test_a_hostile_name_cannot_steer_the_terminal(stubbed, folder, spinlab, tmp_path):
    (folder / "\x1b[31mred\n.wav").write_text("{}")
    _, out, _ = spinlab("batch", folder, "--out", tmp_path / "out")
    assert "\x1b" not in out
    assert "\\x1b[31mred\\n.wav" in out


def test_files_that_hold_no_recording_are_told_by_the_real_command(process, tmp_path):
    uploads = tmp_path / "uploads"
    uploads.mkdir()
    (uploads / "empty.wav").touch()
    (uploads / "text.m4a").write_text("no sound at all")
    done = process("batch", uploads, "--out", tmp_path / "out", "--workers", "1")
    assert done.returncode == 20
    assert done.stderr == ""
    assert len(re.findall(r"^unreadable ", done.stdout, re.M)) == 2
    assert sorted(os.listdir(tmp_path / "out")) == [
        *("batch.lock", "batch.sqlite", "index.html", "results.csv")
    ]


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("nowhere", "--out", "out"), 20, "no folder or list nowhere"),
        (("uploads",), 2, "--out"),
        (("uploads", "--out", "out", "--machine", "nonsense"), 20, "nonsense"),
        (("uploads", "--out", "out", "--workers", "0"), 2, "--workers"),
        (("uploads", "--out", "uploads"), 20, "another --out folder"),
        (("uploads", "--out", "/proc/x"), 21, "cannot be made"),
    ],
)
def test_what_cannot_be_meant_is_one_sentence(
    arguments, code, words, folder, spinlab, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    got, out, err = spinlab("batch", *arguments)
    assert (got, out) == (code, "")
    assert words in err
    assert not (tmp_path / "out" / "index.html").exists()
