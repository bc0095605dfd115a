"""What the documents promise is there, and the automatic run keeps the promise too."""

import re
import tomllib
from pathlib import Path

import pytest

PROJECT = Path(__file__).parent.parent
README = (PROJECT / "README.md").read_text("utf-8")
DEVELOPERS = (PROJECT / "DEVELOPERS.md").read_text("utf-8")
DOCUMENTS = [
    str(path.relative_to(PROJECT))
    for path in (
        *PROJECT.glob("*.md"),
        *PROJECT.glob("docs/**/*.md"),
        *PROJECT.glob("recordings_demo/*.md"),
    )
]
DECLARED = (PROJECT / "pyproject.toml").read_text("utf-8")


def shell_lines(text):
    return [
        line for block in re.findall(r"```sh\n(.*?)```", text, re.S) for line in block.splitlines()
    ]


def test_the_first_line_checks_a_demo_that_is_there():
    line = shell_lines(README)[0]
    demo = re.search(r"spinlab check (\S+)", line).group(1)
    assert (PROJECT / demo).is_file(), f"{demo} is missing"


def test_the_automatic_run_ends_with_exactly_the_readmes_test_line():
    run = (PROJECT / ".ci" / "run").read_text("utf-8").rstrip().splitlines()
    assert run[-1] == shell_lines(README)[1]
    assert "set -euo pipefail" in run


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_file_that_a_document_links_to_exists(name):
    text = (PROJECT / name).read_text("utf-8")
    for target in re.findall(r"\]\((?!https?:)([^)#]+)(?:#[^)]*)?\)", text):
        assert ((PROJECT / name).parent / target).exists(), target


def test_every_room_of_the_package_is_explained_to_contributors():
    rooms = [path.parent.name for path in (PROJECT / "spinlab").glob("*/__init__.py")]
    for room in rooms:
        assert f"`{room}/`" in DEVELOPERS, f"{room}/ is not in DEVELOPERS.md"


def test_every_dependency_has_its_reason():
    for requirement in tomllib.loads(DECLARED)["project"]["dependencies"]:
        name = re.match(r"[A-Za-z0-9_-]+", requirement).group(0)
        assert re.search(rf"^\| {name} \|", DEVELOPERS, re.M), name


def test_every_room_travels_with_the_installed_package():
    packages = set(tomllib.loads(DECLARED)["tool"]["setuptools"]["packages"])
    rooms = {
        ".".join(path.parent.relative_to(PROJECT).parts)
        for path in (PROJECT / "spinlab").rglob("__init__.py")
    }
    assert packages == rooms | {"spinlab_cli"}
