"""Small CSV tables that people write: columns recording and machine, in any order."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from spinlab.errors import InputError, printable

LARGEST_BYTES = 64 * 2**20
_RECORDING = ("recording", "file", "path")
_MACHINE = ("machine", "profile")


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One row: a path or pattern, and the profile for it ("" for the batch's own)."""

    recording: str
    machine: str


def rows_of(file: Path) -> list[Entry] | None:
    """The rows of a table whose first line names its columns; None for any other text.

    Commas, semicolons and tabs part cells.

    Raises:
        InputError: the file is no readable text.
    """
    lines = _text(file).splitlines()
    first = next((line for line in lines if line.strip()), "")
    for delimiter in (",", ";", "\t"):
        heads = [cell.strip().lower() for cell in next(csv.reader([first], delimiter=delimiter))]
        column = next((heads.index(name) for name in _RECORDING if name in heads), None)
        machine = next((heads.index(name) for name in _MACHINE if name in heads), None)
        # A lone column needs no delimiter, so any of them would do.
        if column is not None and (machine is not None or len(heads) == 1):
            return _rows(csv.reader(lines, delimiter=delimiter), column, machine)
    return None


def _rows(reader: object, column: int, machine: int | None) -> list[Entry]:
    def cell(row: list[str], index: int | None) -> str:
        return row[index].strip() if index is not None and index < len(row) else ""

    rows = [row for row in reader if any(row)]  # type: ignore[attr-defined]
    entries = (Entry(recording=cell(r, column), machine=cell(r, machine)) for r in rows[1:])
    return [entry for entry in entries if entry.recording]


def _text(file: Path) -> str:
    name = printable(file.name)
    try:
        if file.stat().st_size > LARGEST_BYTES:
            raise InputError(f"{name} is too large for a list of recordings.")
        text = file.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{name} cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise InputError(_no_list(name)) from error
    if "\0" in text:
        raise InputError(_no_list(name))
    return text


def _no_list(name: str) -> str:
    return (
        f"{name} is neither a folder nor a list of paths in UTF-8 text; for a single recording "
        "use `spinlab check`."
    )
