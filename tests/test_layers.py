"""Data flows one way: parsed from the imports of every module, not from good intentions."""

import ast
from pathlib import Path

import pytest

PROJECT = Path(__file__).parent.parent
PACKAGE = PROJECT / "spinlab"

# A room may import from itself and from the levels before its own, never from a neighbour on
# its own level nor from a later one.
LEVELS = (
    ("errors", "phrase"),
    ("recording", "contained"),
    ("finding", "reference"),
    ("machine",),
    ("reading",),
    ("quality",),
    ("spectra",),
    ("speed.track",),
    ("speed",),
    ("stages",),
    ("orders",),
    ("envelope",),
    ("bearings", "vibration"),
    ("drive", "meter", "coastdown"),
    ("phases",),
    ("findings",),
    ("result", "portrait"),
    ("proofs", "clips", "fitness"),
    ("analysis",),
    ("comparison",),
    ("lesson", "baseline"),
    ("report",),
    ("batch", "desk"),
)

# Where matplotlib may be imported.
DRAWING = (
    "spinlab.report.pictures",
    "spinlab.report.charts",
    "spinlab.report.small",
    "spinlab.report.compare_pictures",
)


def modules():
    return sorted(path for path in PACKAGE.rglob("*.py"))


def dotted(path):
    parts = path.relative_to(PROJECT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(path):
    """Every module that a file imports anywhere, in functions and under TYPE_CHECKING too."""
    tree = ast.parse(path.read_text("utf-8"))
    home = dotted(path).split(".")
    if path.name != "__init__.py":
        home = home[:-1]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = home[: len(home) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            names = (f"{module}.{alias.name}" for alias in node.names)
            yield from names if _is_package(module) else (module,)


def _is_package(name):
    return (PROJECT / name.replace(".", "/") / "__init__.py").exists()


def level(name):
    """Index of the level of "spinlab.x.y", by the longest entry that fits; None for the root."""
    inside = name.removeprefix("spinlab").lstrip(".")
    fits = [
        (len(entry), index)
        for index, entries in enumerate(LEVELS)
        for entry in entries
        if inside == entry or inside.startswith(entry + ".")
    ]
    return max(fits)[1] if fits else None


def layered():
    """Every module but the root, which imports lazily, and the simulator, with its own rule."""
    return [path for path in modules() if dotted(path).split(".")[1:2] not in ([], ["simulate"])]


def room(name):
    return name.split(".")[1]


def allowed(name, target):
    """Whether module `name` may import `target`, both dotted."""
    if room(name) == room(target) and level(target) <= level(name):
        return True
    return level(target) < level(name)


@pytest.mark.parametrize("path", layered(), ids=dotted)
def test_a_module_imports_only_from_its_own_room_and_the_levels_before(path):
    name = dotted(path)
    assert level(name) is not None, f"{name} stands on no level; give it one in LEVELS"
    for target in imports(path):
        if not target.startswith("spinlab.") or target == "spinlab.__version__":
            continue
        assert level(target) is not None, f"{name} imports {target}, which stands on no level"
        assert allowed(name, target), f"{name} may not import {target}"


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_only_the_report_draws_and_nothing_but_the_command_line_knows_its_library(path):
    name = dotted(path)
    for target in imports(path):
        library = target.split(".")[0]
        if library == "matplotlib":
            assert name in DRAWING, f"{name} draws"
        if library in ("jinja2", "PIL"):
            pages = ("spinlab.report.", "spinlab.desk.web.")
            assert name.startswith(pages), f"{name} imports {library}"
        assert library not in ("click", "spinlab_cli", "cli"), f"{name} knows the command line"
        assert not target.startswith("matplotlib.pyplot"), f"{name} uses pyplot's global state"


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_the_simulator_and_the_analysis_know_nothing_of_each_other(path):
    name = dotted(path)
    simulator = name.startswith("spinlab.simulate")
    for target in imports(path):
        if simulator and target.startswith("spinlab"):
            assert target.startswith(("spinlab.simulate", "spinlab.errors", "spinlab.recording")), (
                f"{name} imports {target}: the test rig must not share the product's model"
            )
        if not simulator:
            assert not target.startswith("spinlab.simulate"), f"{name} imports the simulator"


@pytest.mark.parametrize("path", sorted((PROJECT / "cli").glob("*.py")), ids=lambda p: p.stem)
def test_the_command_line_computes_nothing_itself(path):
    libraries = {target.split(".")[0] for target in imports(path)}
    assert not libraries & {"numpy", "scipy", "librosa", "av", "soundfile", "matplotlib"}


def test_a_wrong_import_would_be_noticed():
    assert not allowed("spinlab.speed.path", "spinlab.stages")
    assert not allowed("spinlab.bearings.detect", "spinlab.vibration.law")
    assert not allowed("spinlab.speed.track", "spinlab.speed.path")
    assert allowed("spinlab.speed.path", "spinlab.speed.track")
    assert allowed("spinlab.report.page", "spinlab.analysis")
    assert level("spinlab.nonsense") is None
