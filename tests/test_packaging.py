"""What is installed is what is there."""

import tomllib
from pathlib import Path

PROJECT = Path(__file__).parent.parent


def test_every_package_and_nothing_else_is_installed():
    settings = tomllib.loads((PROJECT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    folders = (path.parent for path in (PROJECT / "spinlab").rglob("__init__.py"))
    names = [".".join(folder.relative_to(PROJECT).parts) for folder in folders]
    assert sorted(settings["packages"]) == sorted([*names, "spinlab_cli"])
    assert settings["package-dir"] == {"spinlab_cli": "cli"}


def test_every_data_file_is_of_a_kind_that_is_packed():
    settings = tomllib.loads((PROJECT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    packed = {Path(pattern).suffix or pattern for pattern in settings["package-data"]["spinlab"]}
    packed |= {"py.typed", ".py"}
    for path in (PROJECT / "spinlab").rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts:
            assert path.suffix in packed or path.name in packed, f"{path.name} would not be packed"
