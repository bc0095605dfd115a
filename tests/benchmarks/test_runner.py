"""A run goes on where it was stopped, and one broken case stops no other."""

import json
from dataclasses import dataclass

from tests.benchmarks.runner import code_version, guarded, read_lines, run


@dataclass(frozen=True)
class Number:
    value: int

    @property
    def key(self):
        return str(self.value)


def reciprocal(case):
    return {"reciprocal": 1 / case.value}


def test_results_come_back_in_the_order_of_the_cases(tmp_path):
    cases = [Number(4), Number(2), Number(1)]
    found = run("numbers", reciprocal, cases, folder=tmp_path, version="v", workers=2)
    assert [one["reciprocal"] for one in found] == [0.25, 0.5, 1.0]


def test_what_was_kept_is_not_computed_again(tmp_path):
    kept = tmp_path / "numbers-v.jsonl"
    kept.write_text('{"key": "2", "reciprocal": "kept"}\n{"key": "4", "recip', "utf-8")
    found = run("numbers", reciprocal, [Number(2)], folder=tmp_path, version="v", workers=1)
    assert found == [{"key": "2", "reciprocal": "kept"}]


def test_another_version_of_the_code_starts_anew(tmp_path):
    (tmp_path / "numbers-v.jsonl").write_text('{"key": "2", "reciprocal": "old"}\n', "utf-8")
    found = run("numbers", reciprocal, [Number(2)], folder=tmp_path, version="w", workers=1)
    assert found[0]["reciprocal"] == 0.5


def test_a_line_cut_off_by_an_interruption_is_passed_over(tmp_path):
    path = tmp_path / "lines.jsonl"
    path.write_text(json.dumps({"key": "1"}) + '\n{"key": "2"', "utf-8")
    assert list(read_lines(path)) == ["1"]


def test_a_broken_case_becomes_a_result_that_says_where():
    result = guarded(reciprocal, Number(0))
    assert "ZeroDivisionError" in result["error"]
    assert "test_runner.py" in result["error"]


def test_the_version_follows_the_bench_files_that_are_named():
    assert code_version(("population.py",)) != code_version(("scoring.py",))
    assert code_version() == code_version()
