"""`spinlab lesson`, `spinlab baseline` and `spinlab compare --baseline`, around made-up sounds."""

import sys
import tomllib
import types

import pytest

from tests.comparison.made import modulated

PLATEAUS = ((1200.0, 7.0),)


@pytest.fixture(scope="module")
def analyses():
    """Five good takes, one more, and a worn one."""
    depths = (0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.8)
    return [
        modulated([(4.25, depth)], seed=seed, plateaus=PLATEAUS)
        for seed, depth in enumerate(depths, start=1)
    ]


@pytest.fixture
def answers(monkeypatch, analyses):
    """Let successive calls of `analyse` answer with the given ones of them."""

    def give(*numbers):
        queue = [analyses[number] for number in numbers]
        fake = types.ModuleType("spinlab.analysis")
        fake.analyse = lambda recording, machine=None, **_: queue.pop(0)
        fake.Analysis = type(analyses[0])
        monkeypatch.setitem(sys.modules, "spinlab.analysis", fake)

    return give


def test_a_lesson_is_one_file_and_its_line_names_no_answer(answers, spinlab, tone, tmp_path):
    answers(0, 6)
    page = tmp_path / "lesson.html"
    code, out, _ = spinlab("lesson", tone, tone, "--out", page)
    assert code == 0
    assert "1 question" in out
    assert page.read_text("utf-8").startswith("<!DOCTYPE html>")


def test_a_baseline_is_made_and_a_worn_unit_departs_from_it(answers, spinlab, tone, tmp_path):
    answers(0, 1, 2, 3, 4)
    model = tmp_path / "model.toml"
    code, out, _ = spinlab("baseline", *[tone] * 5, "--out", model)
    assert (code, out.split(".")[0]) == (0, "5 good recordings, at 1200 rpm")
    assert tomllib.loads(model.read_text("utf-8"))["format"] == "spinlab.baseline"
    answers(6)
    assert spinlab("compare", "--baseline", model, tone, "--quiet") == (10, "", "")
    answers(5)
    page = tmp_path / "new.html"
    code, out, _ = spinlab("compare", "--baseline", model, tone, "--page", page)
    assert code == 0
    assert out.startswith("WITHIN THE BASELINE")
    assert page.exists()


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["lesson", "TONE", "TONE"], 2),
        (["lesson", "TONE", "--out", "x.html"], 2),
        (["lesson", "TONE", "missing.wav", "--out", "x.html"], 20),
        (["lesson", "TONE", "TONE", "--out", "TONE"], 21),
        (["baseline", "TONE", "--out", "x.toml"], 20),
        (["baseline", "TONE", "--out", "/nowhere/x.toml"], 21),
        (["compare", "--baseline", "TONE", "TONE"], 20),
        (["compare", "--baseline", "missing.toml", "TONE"], 20),
        (["compare", "--baseline", "x.toml", "--moved", "TONE", "TONE"], 2),
    ],
)
def test_bad_input_has_its_exit_code_and_writes_nothing(
    arguments, code, answers, spinlab, tone, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    answers(0, 1)
    before = tone.read_bytes()
    got, out, err = spinlab(*[str(tone) if a == "TONE" else a for a in arguments])
    assert (got, out) == (code, "")
    assert "Traceback" not in err
    assert tone.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["tone.wav"]
