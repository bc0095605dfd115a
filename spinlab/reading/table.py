"""Text with columns: separator, decimal sign, header and rows, told by content.

Phone apps write comma, semicolon, tab or blanks between cells, a decimal point or comma, any
number of lines before the header, a second line of units, and now and then a broken last line.
The csv module splits, numpy converts; both work on chunks, so a long log costs its numbers only.
"""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from spinlab.reading.content import SNIFFED_BYTES, text_encoding

_SEPARATORS = (";", "\t", ",", "|", " ")
_CHUNK_LINES = 50_000
_SNIFFED_LINES = 200
# A longer line is no row of a log; reading on would let one line fill the memory.
_LONGEST_LINE = 16 * 1024
_MOST_COLUMNS = 256
_COMMENT = re.compile(r"^\s*(#|%|//)\s*")
_NUMBER = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$|^[+-]?(nan|inf|infinity)$", re.I)


@dataclass(frozen=True, kw_only=True)
class Dialect:
    """How the text is cut into cells."""

    separator: str
    decimal: str
    columns: int
    numeric_columns: int
    first_row: int
    header: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Table:
    """Columns of one text file.

    Attributes:
        header: one name per column, "" where there is none.
        numbers: float64, shape (columns, rows); nan where a cell is no number.
        texts: for each column with cells that are mostly no numbers, those cells.
        skipped: lines that do not fit the table.
    """

    header: tuple[str, ...]
    numbers: NDArray[np.float64]
    texts: dict[int, list[str]]
    skipped: int


def is_number(cell: str) -> bool:
    """Whether a cell reads as one number with a decimal point."""
    return bool(_NUMBER.match(cell.strip()))


def read_table(path: Path, *, progress: Callable[[float], None]) -> Table | None:
    """The file's table, or None where its lines form none."""
    with path.open("rb") as raw:
        encoding = text_encoding(raw.read(SNIFFED_BYTES))
        size = max(1, raw.seek(0, 2))
        raw.seek(0)
        with io.TextIOWrapper(raw, encoding, errors="replace", newline=None) as text:
            lines = _lines(text)
            head = list(itertools.islice(lines, _SNIFFED_LINES))
            dialect = _dialect(head)
            if dialect is None:
                return None
            rest = itertools.chain(head[dialect.first_row :], lines)
            return _rows(rest, dialect, lambda: progress(min(1.0, raw.tell() / size)))


def _lines(stream: IO[str]) -> Iterator[str]:
    while line := stream.readline(_LONGEST_LINE):
        yield line.rstrip("\n").replace("\0", "") if len(line) < _LONGEST_LINE else line


def split(line: str, separator: str) -> list[str]:
    """The cells of one line."""
    if separator == " ":
        return line.split()
    return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]


def _dialect(lines: list[str]) -> Dialect | None:
    """The separator and decimal sign under which most cells of most lines are numbers."""
    best: tuple[int, Dialect] | None = None
    # A comma may be both where cells are quoted; a plain reading is preferred as it comes first.
    for separator, decimal in itertools.product(_SEPARATORS, ".,"):
        cells = [split(line, separator) if len(line) < _LONGEST_LINE else [] for line in lines]
        numbers = [
            sum(is_number(c.replace(",", ".") if decimal == "," else c) for c in row)
            for row in cells
        ]
        shapes = Counter((len(row), n) for row, n in zip(cells, numbers, strict=True) if n)
        if not shapes:
            continue
        (columns, numeric), count = max(shapes.items(), key=lambda item: item[1] * item[0][1])
        if columns > _MOST_COLUMNS:
            continue
        score = count * numeric
        if best is not None and score <= best[0]:
            continue
        fits = [len(r) == columns and n >= numeric for r, n in zip(cells, numbers, strict=True)]
        first = fits.index(True)
        header = _header(cells[:first], columns)
        dialect = Dialect(
            separator=separator,
            decimal=decimal,
            columns=columns,
            numeric_columns=numeric,
            first_row=first,
            header=header,
        )
        best = (score, dialect)
    return best[1] if best else None


def _header(before: list[list[str]], columns: int) -> tuple[str, ...]:
    """Names from the last one or two lines of the right width above the data."""
    rows: list[list[str]] = []
    for row in reversed([r for r in before if any(r)]):
        row = [_COMMENT.sub("", row[0]), *row[1:]]
        if row and row[0] == "":
            row = row[1:] if len(row) == columns + 1 else row
        if len(row) != columns or len(rows) == 2:
            break
        rows.insert(0, row)
    if not rows:
        return ("",) * columns
    return tuple(" ".join(parts).strip() for parts in zip(*rows, strict=True))


def _rows(lines: Iterator[str], dialect: Dialect, tick: Callable[[], None]) -> Table:
    """All rows of the dialect's width, as numbers; other lines are counted."""
    chunks: list[NDArray[np.float64]] = []
    texts: dict[int, list[str]] = {}
    skipped = 0
    while chunk := list(itertools.islice(lines, _CHUNK_LINES)):
        tick()
        filled = [line for line in chunk if line.strip()]
        plain = None if texts else _plain(filled, dialect)
        if plain is not None:
            chunks.append(plain)
            continue
        rows = [row for row in _split_all(filled, dialect) if len(row) == dialect.columns]
        skipped += len(filled) - len(rows)
        if not rows:
            continue
        columns = list(zip(*rows, strict=True))
        numbers = np.stack([_numbers(column, dialect.decimal) for column in columns])
        if not chunks:
            texts = {k: [] for k, cells in enumerate(columns) if _is_text(cells, dialect.decimal)}
        for k, cells in texts.items():
            cells.extend(cell.strip() for cell in columns[k])
        chunks.append(numbers)
    numbers = np.concatenate(chunks, axis=1) if chunks else np.zeros((dialect.columns, 0))
    return Table(header=dialect.header, numbers=numbers, texts=texts, skipped=skipped)


def _plain(lines: list[str], dialect: Dialect) -> NDArray[np.float64] | None:
    """Lines of nothing but numbers, ten times as fast as by the csv module; else None."""
    if dialect.decimal != "." or dialect.numeric_columns < dialect.columns or not lines:
        return None
    separator = None if dialect.separator == " " else dialect.separator
    try:
        rows = np.loadtxt(lines, dtype=np.float64, delimiter=separator, comments=None, ndmin=2)
    except ValueError:
        return None
    return rows.T if rows.shape[1] == dialect.columns else None


def _split_all(lines: list[str], dialect: Dialect) -> Iterator[list[str]]:
    if dialect.separator == " ":
        return (line.split() for line in lines)
    # A quote without its partner would swallow all lines up to the next one.
    sound = [line.replace('"', "") if line.count('"') % 2 else line for line in lines]
    return csv.reader(sound, delimiter=dialect.separator)


def _is_text(cells: tuple[str, ...], decimal: str) -> bool:
    """Whether most cells of a column, empty ones aside, are no numbers."""
    filled = [cell.replace(",", ".") if decimal == "," else cell for cell in cells if cell.strip()]
    return sum(map(is_number, filled)) < len(filled) / 2


def _numbers(cells: tuple[str, ...], decimal: str) -> NDArray[np.float64]:
    """Cells as float64, nan for what is no number; the plain case stays in C."""
    texts = [cell.replace(",", ".") for cell in cells] if decimal == "," else list(cells)
    try:
        return np.array(texts, dtype=np.float64)
    except ValueError:
        return np.array([_number(cell) for cell in texts])


def _number(cell: str) -> float:
    cell = cell.strip()
    return float(cell) if is_number(cell) else np.nan
