"""The README's Python runs as it stands, and every public function shows how it is called."""

import inspect
import re
import shutil
from pathlib import Path

import pytest

import spinlab

PROJECT = Path(__file__).parent.parent
DEMO = PROJECT / "recordings_demo" / "stage-missed.flac"
BLOCKS = re.findall(r"```python\n(.*?)```", (PROJECT / "README.md").read_text("utf-8"), re.S)
DOCUMENTED = "\n".join(
    path.read_text("utf-8") for path in (PROJECT / "README.md", *PROJECT.glob("docs/*.md"))
)
FUNCTIONS = [name for name in spinlab.__all__ if inspect.isfunction(getattr(spinlab, name))]


def test_the_readme_has_python_to_run():
    assert BLOCKS


@pytest.mark.parametrize("number", range(len(BLOCKS)))
def test_a_block_of_the_readmes_python_runs_on_a_demo_recording(
    number, tmp_path, monkeypatch, capsys
):
    shutil.copy(DEMO, tmp_path / "spin.m4a")  # the content decides, not the name
    monkeypatch.chdir(tmp_path)
    exec(compile(BLOCKS[number], f"README.md, Python block {number + 1}", "exec"), {})
    printed = capsys.readouterr().out
    # The demo's truth: the drum stays near 1330 rpm where 1400 is asked.
    assert re.search(r"^1400\.0 off speed 13\d\d\.", printed, re.M), printed


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_public_function_has_an_example(name):
    function = getattr(spinlab, name)
    called = rf"spinlab\.{name}\(|>>> (?:.*[^\w.])?{name}\("
    assert re.search(called, (function.__doc__ or "") + DOCUMENTED), f"{name} has no example"
