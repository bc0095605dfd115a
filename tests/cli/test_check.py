"""`spinlab check`: the verdict's exit code, the files asked for, and one sentence on bad input.

The analyses behind these answers are invented; what is tested is the command around them.
"""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

from spinlab.errors import UnreadableRecording
from spinlab.finding import Verdict


@pytest.mark.parametrize(
    ("state", "code"),
    [("clear", 0), ("attention", 10), ("fault", 11), ("not measurable", 12)],
)
def test_the_verdict_decides_the_exit_code(state, code, answer, spinlab, tone, nothing_known):
    answer(nothing_known.but(verdict=Verdict(state=state, sentence="An invented sentence.")))
    got, out, _ = spinlab("check", tone)
    assert got == code
    assert "An invented sentence." in out.splitlines()[0]


def test_quiet_prints_nothing_and_the_code_still_tells(answer, spinlab, tone, invented):
    answer(invented)
    assert spinlab("check", tone, "--quiet") == (11, "", "")


def test_every_file_asked_for_is_written(answer, spinlab, tone, nothing_known, tmp_path):
    answer(nothing_known)
    files = {"--json": "r.json", "--page": "r.html", "--picture": "r.png"}
    options = [part for pair in files.items() for part in (pair[0], tmp_path / pair[1])]
    assert spinlab("check", tone, *options)[0] == 12
    assert json.loads((tmp_path / "r.json").read_text("utf-8"))["format"] == "spinlab.result"
    assert (tmp_path / "r.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    assert (tmp_path / "r.png").read_bytes().startswith(b"\x89PNG")
    assert sorted(os.listdir(tmp_path)) == ["r.html", "r.json", "r.png", "tone.wav"]


def test_a_dash_sends_the_json_to_standard_output_and_nothing_else(answer, spinlab, tone, invented):
    answer(invented)
    code, out, _ = spinlab("check", tone, "--json", "-")
    assert code == 11
    assert json.loads(out)["verdict"]["state"] == "fault"


def test_the_recording_is_left_as_it_was(answer, spinlab, tone, invented, tmp_path):
    answer(invented)
    before = tone.read_bytes(), tone.stat().st_mtime_ns
    spinlab("check", tone, "--json", tmp_path / "r.json")
    assert (tone.read_bytes(), tone.stat().st_mtime_ns) == before


def test_meter_readings_reach_the_analysis(monkeypatch, answer, spinlab, tone, invented, tmp_path):
    got = []

    def analyse(recording, machine=None, *, progress=None, readings=(), corrections=()):
        got.extend(readings)
        return invented

    answer(invented)
    monkeypatch.setattr(sys.modules["spinlab.analysis"], "analyse", analyse)
    table = tmp_path / "meter.csv"
    table.write_text("label,speed_rpm,power_w\n800,800,220\n", "utf-8")
    spinlab("check", tone, "--quiet", "--readings", table, "--reading", "1200rpm 238V 1.6A 300W")
    assert [(reading.speed_rpm, reading.power_w) for reading in got] == [(800, 220), (1200, 300)]


def test_a_reading_that_makes_no_sense_is_bad_input(answer, spinlab, tone, invented):
    answer(invented)
    code, _, err = spinlab("check", tone, "--reading", "very hot")
    assert code == 20
    assert err.count("\n") == 1


def test_a_phase_corrected_by_the_user_reaches_the_analysis(
    monkeypatch, answer, spinlab, tone, invented
):
    got = []

    def analyse(recording, machine=None, *, progress=None, readings=(), corrections=()):
        got.extend(corrections)
        return invented

    answer(invented)
    monkeypatch.setattr(sys.modules["spinlab.analysis"], "analyse", analyse)
    spinlab("check", tone, "--quiet", "--phase", "fill=3-15", "--phase", "spin=1:15-2:20")
    assert [(c.label, c.start_s, c.end_s) for c in got] == [("fill", 3, 15), ("spin", 75, 140)]


def test_a_phase_that_makes_no_sense_is_bad_input(answer, spinlab, tone):
    answer(AssertionError("the analysis must not have started"))
    code, _, err = spinlab("check", tone, "--phase", "spin=20-10")
    assert code == 20
    assert err.count("\n") == 1


def test_an_output_that_cannot_be_written_is_told_before_the_analysis(answer, spinlab, tone):
    answer(AssertionError("the analysis must not have started"))
    code, out, err = spinlab("check", tone, "--json", "/nowhere/r.json")
    assert (code, out) == (21, "")
    assert err == "spinlab: /nowhere/r.json cannot be written: there is no folder /nowhere.\n"


def test_the_recording_is_never_written_over(answer, spinlab, tone, invented):
    answer(invented)
    code, _, err = spinlab("check", tone, "--json", tone)
    assert code == 21
    assert "never written over" in err


def test_a_picture_of_an_unknown_kind_is_a_usage_error(answer, spinlab, tone, tmp_path):
    code, _, err = spinlab("check", tone, "--picture", tmp_path / "r.jpg")
    assert code == 2
    assert ".png, .svg, .pdf" in err


def test_two_results_in_one_file_are_a_usage_error(spinlab, tone, tmp_path):
    code, _, err = spinlab("check", tone, "--json", tmp_path / "r", "--page", tmp_path / "r")
    assert code == 2
    assert "same file" in err


@pytest.mark.parametrize(
    ("options", "code"),
    [
        (["--machine", "belt-brush-1400"], 20),
        (["--machine", "/nowhere/mine.toml"], 20),
        (["--rate", "0"], 2),
        (["--rate", "fast"], 2),
        (["--acceleration-unit", "miles"], 2),
        (["--json"], 2),
    ],
)
def test_options_that_make_no_sense_have_their_exit_code(
    options, code, answer, spinlab, tone, invented
):
    answer(invented)
    assert spinlab("check", tone, *options)[0] == code


BAD_FILES = {
    "empty.wav": b"",
    "text.wav": b"this is not sound\n" * 20,
    "half.wav": b"RIFF\x00\x00\x00\x00WAVEfmt ",
    "one_column.csv": b"1\n2\n3\n4\n",
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_is_no_recording_is_one_sentence_and_code_20(name, answer, spinlab, tmp_path):
    answer(AssertionError("the analysis must not have started"))
    (tmp_path / name).write_bytes(BAD_FILES[name])
    code, out, err = spinlab("check", tmp_path / name, "--json", tmp_path / "r.json")
    assert (code, out) == (20, "")
    assert err.count("\n") == 1
    assert name in err
    assert not (tmp_path / "r.json").exists()


@pytest.mark.parametrize("path", ["missing.wav", ".", ""])
def test_a_path_that_is_no_file_is_bad_input(path, spinlab):
    code, _, err = spinlab("check", path)
    assert code == 20
    assert err.count("\n") == 1


def test_an_error_of_the_users_file_during_analysis_is_one_sentence(answer, spinlab, tone):
    answer(UnreadableRecording("tone.wav is silence: record again."))
    assert spinlab("check", tone) == (20, "", "spinlab: tone.wav is silence: record again.\n")


def test_a_defect_of_ours_asks_for_the_files_details_and_shows_no_trace(
    answer, spinlab, tone, tmp_path
):
    answer(ZeroDivisionError("float\ndivision"))
    code, out, err = spinlab("check", tone, "--json", tmp_path / "r.json")
    assert (code, out) == (70, "")
    assert "ZeroDivisionError" in err
    assert "Please report" in err
    assert "Traceback" not in err
    assert err.count("\n") == 1
    assert not (tmp_path / "r.json").exists()


def test_the_trace_of_a_defect_can_be_asked_for(answer, spinlab, tone, monkeypatch):
    monkeypatch.setenv("SPINLAB_TRACE", "1")
    answer(ZeroDivisionError("x"))
    assert "Traceback" in spinlab("check", tone)[2]


def test_stopping_from_the_keyboard_ends_with_130_and_leaves_nothing(
    answer, spinlab, tone, tmp_path
):
    answer(KeyboardInterrupt())
    code, _, err = spinlab("check", tone, "--page", tmp_path / "r.html")
    assert code == 130
    assert "nothing half-written" in err
    assert os.listdir(tmp_path) == ["tone.wav"]


SLOW = """
import sys, time, types
fake = types.ModuleType("spinlab.analysis")
def analyse(recording, machine=None, *, progress=None, readings=(), corrections=()):
    print("started", flush=True)
    time.sleep(60)
fake.analyse = analyse
sys.modules["spinlab.analysis"] = fake
from spinlab_cli import main
sys.exit(main(sys.argv[1:]))
"""


def test_a_real_interrupt_of_a_real_process_ends_with_130(tone, tmp_path):
    running = subprocess.Popen(
        [sys.executable, "-c", SLOW, "check", str(tone), "--json", str(tmp_path / "r.json")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert running.stdout.readline() == "started\n"
    time.sleep(0.2)
    running.send_signal(signal.SIGINT)
    _, err = running.communicate(timeout=30)
    assert running.returncode == 130
    assert "Traceback" not in err
    assert sorted(os.listdir(tmp_path)) == ["tone.wav"]


def test_everything_can_go_into_a_folder(answer, spinlab, tone, nothing_known, tmp_path):
    answer(nothing_known)
    assert spinlab("check", tone, "--export", tmp_path / "out" / "deep", "--quiet")[0] == 12
    names = {path.name for path in (tmp_path / "out" / "deep").iterdir()}
    assert {"result.json", "track.csv", "stages.csv", "findings.csv", "overview.svg"} <= names


def test_a_folder_that_cannot_be_is_refused_before_the_work(answer, spinlab, tone, tmp_path):
    answer(AssertionError("nothing may be analysed"))
    code, _, err = spinlab("check", tone, "--export", tone)
    assert code == 2
    code, _, err = spinlab("check", tone, "--export", tone / "deep")
    assert code == 21
    assert "tone.wav" in err


def test_a_language_that_does_not_ship_is_refused_with_those_that_do(spinlab, tone):
    code, _, err = spinlab("check", tone, "--language", "xx")
    assert code == 2
    assert "'xx' is not among en" in err
