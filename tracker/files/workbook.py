"""Workbooks (XLSX), read as the text a person would see in the cells. Nothing in them is calculated.

A workbook is a zip of XML: both can be made to unpack without end, so sizes and document types are looked at
before the reader opens it (OWASP ASVS 5.0.0, 5.2.3 and 1.5.1).
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from tracker.errors import Refused
from tracker.files.table import MOST_COLUMNS, Row, RowProblem, Table, assemble

MOST_UNPACKED = 200 * 1024 * 1024
MOST_RATIO = 100
MOST_PARTS = 2_000
# Small archives may compress very well without doing harm.
_RATIO_MATTERS_FROM = 10 * 1024 * 1024
_LAST_SHEET_ROW = 1_048_576
_MOST_NOTES = 50

_PERCENT_FORMAT = re.compile(r"^0*(\.0+)?\s?%")


def read_workbook(name: str, data: bytes, sheet: str | None = None) -> Table:
    """One sheet as a table; `kind` is xlsx and each row's line is its row number in the sheet.

    Numbers keep the shortest digits that give the same number back, to the 15 a workbook holds; a cell shown
    as a percentage is read as shown (0.105 under `0.0%` is `10.5%`); dates are ISO 8601.
    Raises Refused `not-a-table`, `unpacks-too-large`, `no-such-sheet`, and what `assemble` raises.
    """
    _check_archive(name, data)
    notes: list[str] = []
    try:
        # The reader warns of styles and extensions it does not know; none of them touches a value.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read(name, data, sheet, notes)
    except Refused:
        raise
    except Exception as error:
        # openpyxl raises whatever it trips over in a damaged file: KeyError, ValueError, zlib.error ...
        raise _refused(name, f"a damaged workbook ({type(error).__name__})") from error


def _read(name: str, data: bytes, sheet: str | None, notes: list[str]) -> Table:
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
    try:
        chosen = _sheet(name, book.worksheets, sheet, notes)
        table = assemble(name, data, "xlsx", "", "", _rows(name, chosen, notes), ())
    finally:
        book.close()
    return replace(table, notes=tuple(notes))


def _refused(name: str, what: str) -> Refused:
    return Refused(
        "not-a-table",
        f"{name} is {what}.",
        field="file",
        remedy="Open it, save it again as .xlsx without a password, or export it as CSV.",
    )


def _check_archive(name: str, data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            _check_sizes(name, parts, len(data))
            if any(part.flag_bits & 1 for part in parts):
                raise _refused(name, "locked with a password")
            if "xl/workbook.xml" not in archive.namelist():
                raise _refused(name, "a zip archive without a workbook in it")
            for part in parts:
                if part.filename.endswith((".xml", ".rels")):
                    _check_prolog(archive, part)
    except Refused:
        raise
    except Exception as error:
        raise _refused(name, f"a damaged workbook ({type(error).__name__})") from error


def _check_sizes(name: str, parts: list[zipfile.ZipInfo], packed: int) -> None:
    # zipfile never reads a part beyond the size it states, so the stated sizes bound the work.
    unpacked = sum(part.file_size for part in parts)
    swollen = unpacked > _RATIO_MATTERS_FROM and unpacked > MOST_RATIO * packed
    if len(parts) > MOST_PARTS or unpacked > MOST_UNPACKED or swollen:
        raise Refused(
            "unpacks-too-large",
            f"{name} would unpack from {packed} to {unpacked} bytes in {len(parts)} parts.",
            field="file",
            remedy="Copy the rows that are needed to a new workbook, or export them as CSV.",
        )


def _check_prolog(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """A document type may only stand before the first element, so reading that far settles it."""
    from defusedxml.ElementTree import iterparse

    with archive.open(part) as stream:
        for _ in iterparse(stream, events=("start",), forbid_dtd=True):
            return


def _sheet(name: str, sheets: list[Any], wanted: str | None, notes: list[str]) -> Any:
    hidden = [sheet.title for sheet in sheets if sheet.sheet_state != "visible" and sheet.title != wanted]
    if hidden:
        notes.append(f"Hidden sheets were not read: {', '.join(hidden)}.")
    visible = [sheet for sheet in sheets if sheet.title not in hidden]
    found = [sheet for sheet in sheets if sheet.title == wanted] if wanted is not None else visible[:1]
    if not found:
        raise Refused(
            "no-such-sheet",
            f"{name} has no sheet called {wanted!r}." if wanted else f"{name} has no visible sheet.",
            field="sheet",
            remedy=f"Its visible sheets are: {', '.join(sheet.title for sheet in visible) or 'none'}.",
        )
    if wanted is None and len(visible) > 1:
        notes.append(f"Only the first sheet, {found[0].title!r}, was read.")
    return found[0]


def _rows(name: str, sheet: Any, notes: list[str]) -> Iterator[Row]:
    sheet.reset_dimensions()  # the stated size of a sheet is often wrong and sometimes a million rows
    gap, width = None, 0
    for line, cells in enumerate(sheet.iter_rows(max_col=MOST_COLUMNS + 1), start=1):
        if line > _LAST_SHEET_ROW:
            raise _refused(name, "a workbook with more rows than a sheet can have")
        if cells is gap:
            continue
        gap = cells
        read = [_cell(cell, line, notes) for cell in cells]
        while read and not read[-1][0]:
            read.pop()
        if read:
            # A sheet has no row lengths: cells left empty at the end are empty, not missing.
            width = width or len(read)
            read += [("", None)] * (width - len(read))
            problem = next((problem for _, problem in read if problem), None)
            yield Row(line, tuple(text for text, _ in read), problem)


def _cell(cell: Any, line: int, notes: list[str]) -> tuple[str, RowProblem | None]:
    value, kind = cell.value, cell.data_type
    if value is None:
        return "", None
    if kind == "f":
        formula = str(getattr(value, "text", None) or value)
        return formula, RowProblem(
            "formula-cell",
            f"{formula[:60]!r} is a formula; formulas are never calculated here.",
            "Copy the column and paste it as values.",
        )
    if kind == "e":
        return str(value), RowProblem(
            "error-cell", f"the cell shows {value}.", "Mend or clear the cell in the workbook."
        )
    if isinstance(value, bool):
        return ("TRUE" if value else "FALSE"), None
    if isinstance(value, int | float):
        return _number(value, cell.number_format or "", line, notes), None
    return _said(value), None


def _number(value: int | float, shown_as: str, line: int, notes: list[str]) -> str:
    exact = Decimal(repr(value))
    if not exact.is_finite():
        return str(value)
    kept = Decimal(format(value, ".15g")) if isinstance(value, float) else exact
    if kept != exact and len(notes) < _MOST_NOTES:
        notes.append(f"Line {line}: {exact} carries the noise of a calculation and was read as {kept}.")
    if _PERCENT_FORMAT.match(shown_as):
        return f"{_plain(kept * 100)}%"
    return _plain(kept)


def _plain(value: Decimal) -> str:
    """Digits without exponent and without the zeros a float adds: 8.6, 250, 0.00001."""
    if value == value.to_integral_value():
        return format(value.quantize(Decimal(1)) if abs(value) < 10**25 else value, "f")
    return format(value.normalize(), "f")


def _said(value: object) -> str:
    if isinstance(value, datetime):
        nearest = (value + timedelta(milliseconds=500)).replace(microsecond=0)
        if nearest.time() == time():
            return nearest.date().isoformat()
        return nearest.isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value)
