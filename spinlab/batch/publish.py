"""Index and table of a batch, written anew now and then while it runs and once at the end."""

from __future__ import annotations

import csv
import io
import time
from collections.abc import Iterator
from typing import Any

from spinlab.batch.folder import INDEX, TABLE, BatchFolder
from spinlab.batch.ledger import Ledger, Line
from spinlab.batch.severity import FAILURES
from spinlab.report.output import write_pieces

# Writing takes at most one part in so many of the whole time, and happens no more often than this.
_SHARE_OF_TIME = 20
_BETWEEN_S = 10.0

COLUMNS = (
    "recording",
    "outcome",
    "sentence",
    "probability",
    "subject",
    "top_speed_rpm",
    "top_speed_standard_uncertainty_rpm",
    "stages_reached",
    "stages_expected",
    "duration_s",
    "kind",
    "machine",
    "sha256",
    "result",
    "page",
    "finished",
    "spinlab_version",
)


class Publisher:
    """Writes `index.html` and `results.csv` of a batch folder."""

    def __init__(self, folder: BatchFolder, ledger: Ledger) -> None:
        self._folder, self._ledger = folder, ledger
        self._news = False
        self._next_s = time.monotonic() + _BETWEEN_S

    def something_new(self) -> None:
        """There is an outcome that the files do not show yet."""
        self._news = True

    def publish_if_due(self, *, idle: bool) -> None:
        """Write if there is news, and time for it or nothing else to do."""
        if self._news and (idle or time.monotonic() >= self._next_s):
            self.publish()

    def publish(self) -> None:
        """Write both files, row by row, so that memory does not grow with their number.

        Raises:
            OutputError: one of them cannot be written.
        """
        # Its words bring half the library along, so it comes as late as it can.
        from spinlab.report.index import IndexRow, index_html

        began = time.monotonic()
        root = self._folder.root
        write_pieces(root / TABLE, (row.encode("utf-8") for row in self._table()))
        rows = (IndexRow(**self._row(line)) for line in self._ledger.lines())
        page = index_html(rows, counts=self._counts(), table=TABLE)
        write_pieces(root / INDEX, (piece.encode("utf-8") for piece in page))
        took = time.monotonic() - began
        self._next_s = time.monotonic() + max(_BETWEEN_S, _SHARE_OF_TIME * took)
        self._news = False

    def _counts(self) -> dict[str, int]:
        counts: dict[str, int] = {}
        for line in self._ledger.lines():
            state = _state(line.summary.outcome)
            counts[state] = counts.get(state, 0) + 1
        return counts

    def _table(self) -> Iterator[str]:
        # The mark at the front lets spreadsheets take the text for UTF-8.
        yield "\ufeff" + csv_row(COLUMNS)
        for line in self._ledger.lines():
            summary = line.summary
            yield csv_row(
                (
                    *(line.name, summary.outcome, summary.sentence, summary.probability),
                    *(summary.subject, summary.top_speed_rpm),
                    *(summary.top_speed_standard_uncertainty_rpm, summary.stages_reached),
                    *(summary.stages_expected, summary.duration_s, summary.kind),
                    *(summary.machine, line.sha256, self._link(line, "result")),
                    *(self._link(line, "page"), line.finished, summary.version),
                )
            )

    def _row(self, line: Line) -> dict[str, Any]:
        summary = line.summary
        return {
            "name": line.name,
            "state": _state(summary.outcome),
            "failure": summary.outcome if summary.outcome in FAILURES else "",
            "sentence": summary.sentence,
            "probability": summary.probability,
            "top_speed_rpm": summary.top_speed_rpm,
            "top_speed_standard_uncertainty_rpm": summary.top_speed_standard_uncertainty_rpm,
            "stages_reached": summary.stages_reached,
            "stages_expected": summary.stages_expected,
            "machine": summary.machine,
            "result": self._link(line, "result"),
            "page": self._link(line, "page"),
        }

    def _link(self, line: Line, what: str) -> str:
        """Path of a line's result or page relative to the folder; empty where there is none."""
        if line.key is None or line.summary.outcome in FAILURES:
            return ""
        path = self._folder.result(line.key) if what == "result" else self._folder.page(line.key)
        there = what == "result" or path.exists()
        return path.relative_to(self._folder.root).as_posix() if there else ""


def csv_row(cells: tuple[object, ...]) -> str:
    """One line of CSV (RFC 4180); a text that a spreadsheet would run gets an apostrophe first.

    >>> csv_row(("=1+1", 0.5, None))
    "'=1+1,0.5,\\r\\n"
    """
    stream = io.StringIO()
    csv.writer(stream).writerow([_tame(cell) for cell in cells])
    return stream.getvalue()


def _tame(cell: object) -> object:
    # OWASP, "CSV Injection": cells that begin with one of these are taken for formulas.
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@") else cell


def _state(outcome: str) -> str:
    return "failed" if outcome in FAILURES else outcome
