"""`spinlab compare`: exit codes, files and bad input around an invented comparison."""

import json
import sys
import types

import jsonschema
import pytest

from spinlab.report.compare_json import comparison_schema
from tests.comparison.made import modulated


@pytest.fixture(scope="module")
def analyses():
    """One machine twice, and one whose line at order 4.3 is deep."""
    plateaus = ((900.0, 8.0),)
    return [
        modulated([(4.3, depth)], seed=seed, plateaus=plateaus)
        for seed, depth in ((1, 0.1), (2, 0.1), (3, 0.8))
    ]


@pytest.fixture
def answers(monkeypatch, analyses):
    """Let successive calls of `analyse` answer with the given ones of them."""

    def give(*numbers):
        queue = [analyses[number] for number in numbers]

        def analyse(recording, machine=None, *, progress=None, readings=()):
            return queue.pop(0)

        fake = types.ModuleType("spinlab.analysis")
        fake.analyse = analyse
        fake.Analysis = type(analyses[0])
        monkeypatch.setitem(sys.modules, "spinlab.analysis", fake)

    return give


@pytest.mark.parametrize(("numbers", "code"), [((0, 1), 0), ((0, 2), 10), ((0, 1, 2), 10)])
def test_the_exit_code_says_whether_a_change_is_stated(numbers, code, answers, spinlab, tone):
    answers(*numbers)
    got, out, _ = spinlab("compare", *[tone] * len(numbers))
    assert got == code
    assert out.startswith("CHANGED:" if code else "NO CHANGE:")
    assert max(len(line) for line in out.splitlines()) <= 80


def test_quiet_prints_nothing_and_the_code_still_tells(answers, spinlab, tone):
    answers(0, 2)
    assert spinlab("compare", tone, tone, "--quiet") == (10, "", "")


def test_every_file_asked_for_is_written_and_the_json_keeps_its_schema(
    answers, spinlab, tone, tmp_path
):
    answers(0, 2)
    files = ("--json", tmp_path / "c.json", "--page", tmp_path / "c.html")
    assert spinlab("compare", tone, tone, *files)[0] == 10
    value = json.loads((tmp_path / "c.json").read_text("utf-8"))
    jsonschema.validate(value, comparison_schema(), jsonschema.Draft202012Validator)
    assert (tmp_path / "c.html").read_text("utf-8").lstrip().startswith("<!DOCTYPE html>")


def test_a_dash_sends_the_json_to_standard_output_and_nothing_else(answers, spinlab, tone):
    answers(0, 1)
    code, out, _ = spinlab("compare", tone, tone, "--json", "-")
    assert code == 0
    assert json.loads(out)["format"] == "spinlab.comparison"


def test_a_moved_phone_is_told_and_widens(answers, spinlab, tone):
    answers(0, 2)
    code, out, err = spinlab("compare", tone, tone, "--moved")
    assert "Every interval is widened" in " ".join(out.split()), err
    assert code in (0, 10)


def test_one_recording_is_a_usage_error_that_names_the_other_command(spinlab, tone):
    code, _, err = spinlab("compare", tone)
    assert code == 2
    assert "spinlab check" in err


def test_no_recording_is_ever_written_over(answers, spinlab, tone):
    answers(0, 1)
    before = tone.read_bytes()
    code, _, err = spinlab("compare", tone, tone, "--json", tone)
    assert (code, tone.read_bytes()) == (21, before)
    assert "never written over" in err


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["missing.wav"], 20),
        (["--machine", "nonsense"], 20),
        (["--json", "/nowhere/c.json"], 21),
        (["--json", "same", "--page", "same"], 2),
        (["--moved=maybe"], 2),
    ],
)
def test_bad_input_is_one_sentence_with_its_exit_code(arguments, code, answers, spinlab, tone):
    answers(0, 1)
    got, _, err = spinlab("compare", tone, tone, *arguments)
    assert got == code
    assert "Traceback" not in err
