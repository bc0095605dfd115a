"""Which machine profile goes with which recording, and a copy of each beside the results.

A profile's digest is part of a result's name, so that a changed profile means new work, and the
copy tells afterwards what a result was judged by.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path

from spinlab.batch.tables import Entry, rows_of
from spinlab.errors import InputError, printable
from spinlab.report.output import write_whole


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """A profile as the work needs it.

    Attributes:
        use: what `load_machine` is given: a shipped name, or the path of the copy.
        digest: SHA-256 of its text.
    """

    use: str
    digest: str


_Known = dict[str, tuple[tuple[int, int] | None, Chosen]]


class Profiles:
    """Chooses profiles; each is read, checked and copied once."""

    def __init__(
        self,
        machine: str | None,
        *,
        copies: Path,
        table: Path | None = None,
        rules: tuple[Entry, ...] = (),
        known: _Known | None = None,
    ) -> None:
        self._machine = machine
        self._copies = copies
        self._table = table
        self._rules = rules
        self._known: _Known = {} if known is None else known

    def with_rules(self, table: Path) -> Profiles:
        """The same, with a table of rules (the first that fits wins) put before it.

        A rule's first column holds a path relative to the folder, the path of a folder for all
        below it, or a pattern with `*` and `?`.

        Raises:
            InputError: the table cannot be read or lacks its columns.
        """
        rows = rows_of(table)
        if rows is None:
            raise InputError(
                f"{printable(table.name)} needs a first line with the columns recording and "
                "machine."
            )
        return Profiles(
            self._machine, copies=self._copies, table=table, rules=tuple(rows), known=self._known
        )

    def choose(self, name: str) -> Chosen | None:
        """The profile for a file, by its path relative to the folder."""
        for rule in self._rules:
            if _fits(name, rule.recording):
                return self.named(rule.machine, beside=self._table)
        return self.named("", beside=None)

    def named(self, profile: str, *, beside: Path | None) -> Chosen | None:
        """A profile by the name or path that a table gives; the batch's own for an empty one.

        Raises:
            InvalidMachine: there is no such profile, or it is not valid.
        """
        from spinlab.machine import shipped

        name = profile or self._machine
        if name is None:
            return None
        if profile and beside is not None and name not in shipped():
            name = str(beside.parent / name)
        return self._checked(name)

    def _checked(self, name: str) -> Chosen:
        from spinlab.machine import load_machine, profile_text, shipped

        stamp = None if name in shipped() else _stamp(Path(name))
        known = self._known.get(name)
        if known is not None and known[0] == stamp:
            return known[1]
        load_machine(name)
        if name in shipped():
            text = profile_text(name).encode("utf-8")
            chosen = Chosen(use=name, digest=hashlib.sha256(text).hexdigest())
        else:
            chosen = self._copy(Path(name).read_bytes())
        self._known[name] = stamp, chosen
        return chosen

    def _copy(self, text: bytes) -> Chosen:
        digest = hashlib.sha256(text).hexdigest()
        copy = self._copies / f"{digest}.toml"
        if not copy.exists():
            self._copies.mkdir(parents=True, exist_ok=True)
            write_whole(copy, text)
        return Chosen(use=str(copy.absolute()), digest=digest)


def _fits(name: str, rule: str) -> bool:
    rule = rule.replace("\\", "/").removeprefix("./")
    below = name.startswith(rule.rstrip("/") + "/")
    return name == rule or below or fnmatchcase(name, rule)


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        seen = path.stat()
    except (OSError, ValueError):
        return None
    return seen.st_size, seen.st_mtime_ns
