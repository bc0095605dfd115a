"""Collect every message into the catalogue, bring the languages up to date, compile them.

    python -m tests.catalogue           # after a message was changed or added
    python -m tests.catalogue --check   # what is missing, without writing

GNU gettext's workflow with Babel's reader and writer: `spinlab.pot` lists all messages,
`CODE/spinlab.po` is edited by people, `CODE/LC_MESSAGES/spinlab.mo` is what the program reads.
"""

from __future__ import annotations

import ast
import io
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TypeGuard, get_args

from babel.messages import Catalog, mofile, pofile
from spinlab_cli.exits import EXIT_CODES

PROJECT = Path(__file__).parent.parent
PACKAGE = PROJECT / "spinlab"
LANGUAGES = PACKAGE / "report" / "languages"
# Functions whose first argument is a message, and those that take one for each of two forms.
ONE_FORM, TWO_FORMS = {"say", "tell"}, {"many", "tell_many"}
# Rooms whose plain sentences reach the reader without passing through `say`.
ROOMS = ("findings", "stages", "quality", "vibration", "drive", "bearings", "meter", "phases")
TEMPLATES = ("page", "guide", "compare", "held", "lesson", "base", "parts")
# Commands whose help is told in every language; those of batch and desk speak English.
COMMANDS = PROJECT / "cli"
ENGLISH_COMMANDS = ("batch.py", "desk.py", "desk_keeping.py")
# Functions that are told the name of a step under way.
STEPS = ("progress", "step", "run", "attempt")
# What click itself says to a user of ours; two forms where a count decides.
CLICK = (
    *("Usage:", "Options", "Missing argument", "Missing option", "Missing command."),
    *("Error: {message}", "Try '{command} {option}' for help.", "Show this message and exit."),
    *("Invalid value: {message}", "Invalid value for {param_hint}: {message}"),
    *("No such option {name!r}.", "Option {name!r} does not take a value."),
    *("default: {default}", "required", "file", "path", "directory"),
    *("{value!r} is not a valid {number_type}.", "{value} is not in the range {range}."),
    *("{name} {filename!r} is a file.", "{name} {filename!r} is a directory."),
    ("Got unexpected extra argument ({args})", "Got unexpected extra arguments ({args})"),
    ("Did you mean {possibility}?", "(Did you mean one of: {possibilities}?)"),
    ("Option {name!r} requires an argument.", "Option {name!r} requires {nargs} arguments."),
    ("{value!r} is not {choice}.", "{value!r} is not one of {choices}."),
)


def messages() -> Iterator[tuple[str | tuple[str, str], str]]:
    """(message, or its two forms; where it stands) of everything a report can say."""
    for path in sorted(PACKAGE.rglob("*.py")):
        where = str(path.relative_to(PROJECT))
        tree = ast.parse(path.read_text("utf-8"))
        yield from ((message, where) for message in _marked(tree))
        if path.parent.name == "analysis":
            yield from ((message, where) for message in _help(tree))
        if path.relative_to(PACKAGE).parts[0] in ROOMS:
            yield from ((message, where) for message in _plain(tree))
        if path.parent.name == "findings":
            yield from ((message, where) for message in _labels(tree))
    for name in TEMPLATES:
        where = f"spinlab/report/templates/{name}.html"
        yield from ((message, where) for message in _template(f"{name}.html"))
    for path in sorted(COMMANDS.glob("*.py")):
        tree, where = ast.parse(path.read_text("utf-8")), f"cli/{path.name}"
        yield from ((message, where) for message in _marked(tree))
        if path.name not in ENGLISH_COMMANDS:
            yield from ((message, where) for message in _help(tree))
    yield from ((message, "cli/exits.py") for message in EXIT_CODES.values())
    yield from ((message, "click") for message in CLICK)
    yield from ((message, "values") for message in _values())


def _marked(tree: ast.AST) -> Iterator[str | tuple[str, str]]:
    for node in ast.walk(tree):
        if _calls(node, ONE_FORM) and node.args:
            yield from (text for text in _texts(node.args[0]) if _has_words(text))
        elif _calls(node, TWO_FORMS) and len(node.args) >= 2:
            one, more = (next(_texts(argument), "") for argument in node.args[:2])
            yield (one, more)


def _texts(node: ast.AST) -> Iterator[str]:
    """A literal, or the two of a choice."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from _texts(node.body)
        yield from _texts(node.orelse)


def _plain(tree: ast.AST) -> Iterator[str]:
    """Literals that read as words and are neither documentation, errors, keys nor patterns."""
    hidden: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise | ast.Assert | ast.JoinedStr):
            hidden |= {id(part) for part in ast.walk(node)}
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            hidden.add(id(node.value))
        elif _calls(node, ONE_FORM | TWO_FORMS | {"Literal", "cast"}):
            hidden |= {id(argument) for argument in node.args[:2]}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and id(node) not in hidden:
            text = node.value
            if isinstance(text, str) and " " in text.strip() and _has_words(text):
                yield text


def _help(tree: ast.AST) -> Iterator[str]:
    """Help texts of options, and of commands paragraph by paragraph as the command line asks."""
    for node in ast.walk(tree):
        if isinstance(node, ast.keyword) and node.arg == "help":
            yield from _texts(node.value)
        elif isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            yield from _texts(node.value) if node.targets[0].id.endswith("_HELP") else ()
        elif isinstance(node, ast.FunctionDef) and _is_command(node):
            for one in (ast.get_docstring(node) or "").split("\n\n"):
                yield one if one.startswith("\b") else " ".join(one.split())
        elif isinstance(node, ast.Call) and _called(node) in STEPS and node.args:
            yield from _texts(node.args[0])


def _is_command(node: ast.FunctionDef) -> bool:
    """Whether click makes a command of a function, whose documentation then is help."""
    made = [one for one in node.decorator_list if isinstance(one, ast.Call)]
    return any(_called(one) in ("command", "group") for one in made)


def _called(node: ast.Call) -> str:
    return str(getattr(node.func, "id", getattr(node.func, "attr", "")))


def _labels(tree: ast.AST) -> Iterator[str]:
    """Names of evidence, as the report shows them."""
    from spinlab.report.evidence import evidence_label

    for node in ast.walk(tree):
        if isinstance(node, ast.Dict):
            for key in node.keys:
                if isinstance(key, ast.Constant) and str(key.value).replace("_", "").isalnum():
                    yield evidence_label(str(key.value))[0]
        elif _calls(node, {"numbers"}) and isinstance(node.args[0], ast.Constant):
            yield evidence_label(str(node.args[0].value))[0]


def _calls(node: ast.AST, names: set[str]) -> TypeGuard[ast.Call]:
    """Whether a node calls one of these functions."""
    return isinstance(node, ast.Call) and getattr(node.func, "id", "") in names


def _template(name: str) -> Iterator[str]:
    from jinja2.ext import babel_extract

    text = (PACKAGE / "report" / "templates" / name).read_bytes()
    options = {"trim_blocks": "true", "lstrip_blocks": "true"}
    for _, _, found, _ in babel_extract(io.BytesIO(text), ["_"], [], options):
        first = found[0] if isinstance(found, tuple) else found
        if isinstance(first, str):
            yield first


def _values() -> Iterator[str]:
    """Words that are values in the result and are shown as they stand."""
    import dataclasses

    from spinlab.analysis.order import TRACKING
    from spinlab.bearings.geometry import Fault
    from spinlab.fitness.value import Fitness
    from spinlab.machine.value import Motor
    from spinlab.phases.value import LABELS
    from spinlab.quality.value import Quality, Suspicion
    from spinlab.recording import Kind
    from spinlab.report.evidence import UNITS, evidence_label
    from spinlab.speed.track import MOTIONS, Scale

    for literal in (Fault, Fitness, Suspicion, Kind, Scale):
        yield from get_args(literal)
    yield from (*MOTIONS, *LABELS, "belt", "direct", "brushed", "three-phase", "drum", "motor")
    yield from ("modulation", "other", "rear drum", "front drum", "motor front", "motor rear")
    yield from ("below", "above", "none", "crackle", "up", "down", "vertical", "open", "g")
    yield "a pump, a fan or a resonance that does not follow the drum"
    yield from ("by geometry", TRACKING)
    yield from (unit for unit in UNITS.values() if " " in unit)
    yield from (evidence_label(field.name)[0] for field in dataclasses.fields(Quality))
    yield from (field.name.replace("_", " ") for field in dataclasses.fields(Motor))


def _has_words(text: str) -> bool:
    from spinlab.phrase import has_words

    return has_words(text)


def template_catalogue() -> Catalog:
    """Everything that can be said, without translations."""
    catalogue = Catalog(project="spinlab", charset="utf-8", fuzzy=False)
    for message, where in messages():
        catalogue.add(message, locations=[(where, None)])
    return catalogue


def missing(code: str, template: Catalog | None = None) -> list[str]:
    """Messages that a language does not translate."""
    known = read(code)
    found = []
    for message in template or template_catalogue():
        entry = known.get(message.id) if message.id else None
        if message.id and (entry is None or not _is_done(entry.string)):
            found.append(message.id if isinstance(message.id, str) else message.id[0])
    return found


def _is_done(string: str | tuple[str, ...]) -> bool:
    return all(string) if isinstance(string, tuple) else bool(string)


def codes() -> list[str]:
    """Languages that have a catalogue to edit."""
    return sorted(path.parent.name for path in LANGUAGES.glob("*/spinlab.po"))


def read(code: str) -> Catalog:
    """A language's catalogue."""
    with (LANGUAGES / code / "spinlab.po").open("rb") as stream:
        return pofile.read_po(stream, locale=code)


def compiled(catalogue: Catalog) -> bytes:
    """What the program reads."""
    stream = io.BytesIO()
    mofile.write_mo(stream, catalogue)
    return stream.getvalue()


def update() -> None:
    """Write the template, and bring every language up to it."""
    template = template_catalogue()
    with (LANGUAGES / "spinlab.pot").open("wb") as stream:
        pofile.write_po(stream, template, width=96, omit_header=True, sort_output=True)
    for code in codes():
        catalogue = read(code)
        catalogue.update(template, no_fuzzy_matching=True)
        catalogue.obsolete.clear()
        with (LANGUAGES / code / "spinlab.po").open("wb") as stream:
            pofile.write_po(stream, catalogue, width=96, sort_output=True, ignore_obsolete=True)
        (LANGUAGES / code / "LC_MESSAGES" / "spinlab.mo").write_bytes(compiled(catalogue))


def main() -> int:
    """Update, or only check; 1 where a message is missing."""
    if "--check" not in sys.argv:
        update()
    lacking = {code: missing(code) for code in codes()}
    for code, found in lacking.items():
        print(f"{code}: {len(found)} missing", *found[:20], sep="\n  ")
    return int(any(lacking.values()))


if __name__ == "__main__":
    sys.exit(main())
