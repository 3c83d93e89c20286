"""A table as every file becomes one: rows of text with the line each began on, held against their header.

Nothing is guessed silently: a row that does not fit the header is kept with its complaint, never dropped or
padded, and a cell that a spreadsheet would calculate is one.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from tracker.errors import Refused

MOST_ROWS = 200_000
MOST_COLUMNS = 500

# A signed number may start with + or -, and a lone dash means "not measured"; anything else that starts like
# this would be calculated by a spreadsheet that opened it. Two numbers with a comma are a place.
_FORMULA_START = frozenset("=+-@")
_HARMLESS = re.compile(
    r"[+-]?[0-9]+([.,][0-9]+)?\s?%?|[-–—]+|[+-][0-9]+(\.[0-9]+)?\s?[,;]\s?[+-]?[0-9]+(\.[0-9]+)?", re.ASCII
)


@dataclass(frozen=True, slots=True)
class RowProblem:
    """Why a row cannot go in as it stands: code, words, a likely repair, and the column if it is one."""

    code: str
    words: str
    suggestion: str = ""
    field: str = ""


class Row(NamedTuple):
    """One record: the physical line it begins on (the first line of the file is 1), its cells as written."""

    line: int
    cells: tuple[str, ...]
    problem: RowProblem | None = None


@dataclass(frozen=True)
class Table:
    """A file read as text. `sha256` is of the bytes as received; `notes` says what was assumed."""

    name: str
    sha256: str
    kind: str
    encoding: str
    delimiter: str
    header: tuple[str, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()


def assemble(
    name: str,
    data: bytes,
    kind: str,
    encoding: str,
    delimiter: str,
    records: Iterable[Row],
    notes: Iterable[str] = (),
) -> Table:
    """The table made of records, the first of which is the header; each row is held against the header."""
    records = iter(records)
    first = next(records, None)
    if first is None:
        raise Refused("file-empty", f"{name} has nothing in it.", field="file", remedy="Export it again.")
    header = _checked_header(first)
    rows = []
    for record in records:
        rows.append(_fitted(record, len(header)))
        if len(rows) > MOST_ROWS:
            raise Refused(
                "too-many-rows",
                f"{name} has more than {MOST_ROWS} rows.",
                field="file",
                remedy="Divide the file.",
            )
    if not rows:
        raise Refused(
            "no-rows", f"{name} has a header and no rows.", field="file", remedy="Was the export filtered?"
        )
    digest = hashlib.sha256(data).hexdigest()
    return Table(name, digest, kind, encoding, delimiter, header, tuple(rows), tuple(notes))


def looks_like_formula(cell: str) -> bool:
    """Whether a spreadsheet would calculate this text: it starts with = + - @ and is not a number."""
    text = cell.lstrip()
    return text[:1] in _FORMULA_START and text != "" and not _HARMLESS.fullmatch(text.rstrip())


def _checked_header(first: Row) -> tuple[str, ...]:
    if first.problem is not None and first.problem.code == "broken-quotes":
        raise Refused(
            "not-a-table",
            f"The header breaks off: {first.problem.words}",
            line=first.line,
            remedy="Export again.",
        )
    header = [" ".join(unicodedata.normalize("NFC", cell).split()) for cell in first.cells]
    while header and not header[-1]:
        header.pop()
    if len(header) > MOST_COLUMNS:
        raise Refused(
            "too-many-columns",
            f"The header names {len(header)} columns; the most is {MOST_COLUMNS}.",
            line=first.line,
            remedy="Export only the columns that are needed.",
        )
    seen: dict[str, str] = {}
    for place, cell in enumerate(header, start=1):
        if not cell:
            raise Refused(
                "header-empty",
                f"Column {place} has no name.",
                line=first.line,
                remedy="Name it or remove it.",
            )
        if cell.casefold() in seen:
            raise Refused(
                "header-twice",
                f"Two columns are called {cell!r}.",
                field=cell,
                line=first.line,
                remedy="Rename or remove one: which of them holds the value cannot be told.",
            )
        seen[cell.casefold()] = cell
    return tuple(header)


def _fitted(row: Row, width: int) -> Row:
    """The row held against the header: surplus empty cells go, a wrong count or a formula is a problem."""
    cells = row.cells
    if row.problem is not None:
        return row
    if len(cells) > width and not any(cells[width:]):
        cells = cells[:width]
    if len(cells) != width:
        code = "row-too-short" if len(cells) < width else "row-too-long"
        words = f"{len(cells)} cells where the header has {width}."
        hint = (
            "Was the file cut off here?"
            if len(cells) < width
            else "Is a cell that holds the delimiter unquoted?"
        )
        return Row(row.line, cells, RowProblem(code, words, hint))
    for cell in cells:
        if cell and not cell[0].isalnum() and looks_like_formula(cell):
            return Row(
                row.line,
                cells,
                RowProblem(
                    "formula-cell",
                    f"{cell[:60]!r} reads like a formula; formulas are never calculated here.",
                    "Paste the value in place of the formula.",
                ),
            )
    return Row(row.line, cells) if cells is not row.cells else row
