"""Every example in a docstring runs and gives what it shows."""

import doctest
import importlib
from pathlib import Path

import pytest

PROJECT = Path(__file__).parent.parent
EXAMPLES = [
    ".".join(path.relative_to(PROJECT).with_suffix("").parts)
    for path in sorted((PROJECT / "spinlab").rglob("*.py"))
    if ">>> " in path.read_text("utf-8")
]


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_of_a_module_hold(name):
    outcome = doctest.testmod(importlib.import_module(name.removesuffix(".__init__")))
    assert outcome.attempted > 0
    assert outcome.failed == 0
