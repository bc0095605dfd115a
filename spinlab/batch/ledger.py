"""What is finished: one small SQLite database beside the results.

Two tables: every file seen, with its stamp and the hash of its content, and every outcome, by the
key of the work (hash of the recording, hash of the conditions it is judged under).  A row is
written in one transaction after the result's own file is in place, so a crash at any moment costs
at most the work in hand.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from spinlab.batch.severity import rank
from spinlab.batch.sources import Found
from spinlab.batch.summary import Summary
from spinlab.errors import InputError, OutputError, printable

FILE = "batch.sqlite"
_VERSION = 1
_TABLES = f"""
CREATE TABLE IF NOT EXISTS files (
  path BLOB PRIMARY KEY, name TEXT NOT NULL, size INTEGER, changed_ns INTEGER, entry_ns INTEGER,
  sha256 TEXT, key TEXT, problem TEXT, run INTEGER NOT NULL) WITHOUT ROWID;
CREATE INDEX IF NOT EXISTS files_by_key ON files (key);
CREATE TABLE IF NOT EXISTS outcomes (
  key TEXT PRIMARY KEY, rank INTEGER NOT NULL, confidence REAL NOT NULL, summary TEXT NOT NULL,
  finished TEXT NOT NULL, run INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS runs (run INTEGER PRIMARY KEY, begun TEXT NOT NULL);
PRAGMA user_version = {_VERSION};
"""
# A file that is gone is left out if the same content is there under another name.
_LINES = """
SELECT files.name, files.problem, files.sha256, files.key, outcomes.summary, outcomes.finished
FROM files LEFT JOIN outcomes USING (key)
WHERE (outcomes.key IS NOT NULL OR files.problem IS NOT NULL)
  AND (files.run = :run OR NOT EXISTS (
    SELECT 1 FROM files AS other WHERE other.key = files.key AND other.run = :run))
ORDER BY COALESCE(outcomes.rank, :failed), -COALESCE(outcomes.confidence, 0), files.name
"""
_RANKS = """
SELECT COALESCE(outcomes.rank, :failed), COUNT(*) FROM files LEFT JOIN outcomes USING (key)
WHERE files.run = :run AND (outcomes.key IS NOT NULL OR files.problem IS NOT NULL) GROUP BY 1
"""


@dataclass(frozen=True, kw_only=True)
class Known:
    """What was noted of an unchanged file, and whether in this very run."""

    sha256: str | None
    key: str | None
    now: bool


@dataclass(frozen=True, kw_only=True)
class Line:
    """One file of the index: its name, and what came out for its content."""

    name: str
    sha256: str | None
    key: str | None
    summary: Summary
    finished: str


class Ledger:
    """The database of one batch folder; only one process at a time writes to it."""

    def __init__(self, folder: Path, *, now: str) -> None:
        """Open or make it, and begin a run.

        Raises:
            OutputError: it cannot be written.
            InputError: it is damaged or was made by another version.
        """
        path = folder / FILE
        try:
            self._db = sqlite3.connect(path)
            version = self._db.execute("PRAGMA user_version").fetchone()[0]
            if version not in (0, _VERSION):
                self._db.close()
                raise InputError(
                    f"{printable(path)} was made by another version of spinlab; name another "
                    "--out folder."
                )
            self._db.executescript(_TABLES)
            with self._db:
                cursor = self._db.execute("INSERT INTO runs (begun) VALUES (?)", (now,))
            self.run = int(cursor.lastrowid or 0)
        except sqlite3.OperationalError as error:
            raise OutputError(f"{printable(path)} cannot be written: {error}.") from error
        except sqlite3.DatabaseError as error:
            raise InputError(
                f"{printable(path)} is damaged ({error}); delete it, and finished work is found "
                "again by its results."
            ) from error

    def __enter__(self) -> Ledger:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.save()
        self._db.close()

    def known(self, found: Found) -> Known | None:
        """What was noted of a file, if the file is unchanged since."""
        if found.stamp is None:
            return None
        row = self._db.execute(
            "SELECT sha256, key, run FROM files WHERE path = ? AND size = ? AND changed_ns = ? "
            "AND entry_ns = ?",
            (os.fsencode(found.path), *found.stamp),
        ).fetchone()
        if row is None:
            return None
        return Known(sha256=row[0], key=row[1], now=row[2] == self.run)

    def note(
        self, found: Found, *, sha256: str | None, key: str | None, problem: str | None = None
    ) -> None:
        """Write down a file, the work that its content asks for, or why it cannot be read.

        It lasts from the next `save` on; until then a crash costs no more than hashing again.
        """
        stamp = found.stamp or (None, None, None)
        self._db.execute(
            "INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *(os.fsencode(found.path), printable(found.name), *stamp),
                *(sha256, key, problem, self.run),
            ),
        )

    def save(self) -> None:
        """Make everything written so far last."""
        self._db.commit()

    def outcome(self, key: str) -> tuple[Summary, bool] | None:
        """What came out of a piece of work, and whether in this very run; None if unfinished."""
        row = self._db.execute("SELECT summary, run FROM outcomes WHERE key = ?", (key,)).fetchone()
        return None if row is None else (Summary(**json.loads(row[0])), row[1] == self.run)

    def finish(self, key: str, summary: Summary, *, now: str) -> None:
        """Write down for good what came out; the result's own files are in place by now."""
        text = json.dumps(asdict(summary), allow_nan=False)
        row = (key, rank(summary.outcome), summary.probability or 0.0, text, now, self.run)
        self._db.execute("INSERT OR REPLACE INTO outcomes VALUES (?, ?, ?, ?, ?, ?)", row)
        self.save()

    def lines(self) -> Iterator[Line]:
        """Every file with an outcome, the gravest first and then the surest."""
        for row in self._db.execute(_LINES, self._for_query()):
            name, problem, sha256, key, text, finished = row
            summary = _unread(problem) if text is None else Summary(**json.loads(text))
            yield Line(name=name, sha256=sha256, key=key, summary=summary, finished=finished or "")

    def ranks(self) -> dict[int, int]:
        """How many files of this run came to each place in the order of severity."""
        return dict(self._db.execute(_RANKS, self._for_query()).fetchall())

    def _for_query(self) -> dict[str, Any]:
        return {"run": self.run, "failed": rank("unusable")}


def _unread(problem: str) -> Summary:
    return Summary(outcome="unusable", sentence=problem)
