"""Tables that leave the programme: CSV by RFC 4180 (2005), safe to open in a spreadsheet.

A spreadsheet calculates any text that begins with = + - or @, whoever typed it, so such text goes out behind
a single quote (OWASP ASVS 5.0.0, 1.2.10). Numbers are known by their type, not by their look, and are left
alone: -0.3 as a Decimal stays -0.3.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import IO

MEDIA_TYPE = "text/csv; charset=utf-8; header=present"

WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
# So much text is gathered before it goes out.
CHUNK = 64 * 1024
_UNWRITABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_GUARDED = frozenset("=+-@\t\r\n\x00")


def write_csv(rows: Iterable[Sequence[object]], *, mark: bool = False) -> bytes:
    """Rows, the header first, as UTF-8 with CRLF line ends; `mark` puts a byte order mark before it.

    Cells are text, Decimal or int (digits kept), date or aware datetime (ISO 8601), or None for nothing.
    Raises ValueError when rows differ in length, TypeError for a float or any other kind of cell.
    """
    return b"".join(csv_lines(rows, mark=mark))


def csv_lines(rows: Iterable[Sequence[object]], *, mark: bool = False) -> Iterator[bytes]:
    """The same, a few rows at a time: a table of any length goes out in little memory."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    width = None
    if mark:
        yield codecs.BOM_UTF8
    for row in rows:
        cells = [_cell(value) for value in row]
        width = len(cells) if width is None else width
        if len(cells) != width:
            raise ValueError(f"a row of {len(cells)} cells among rows of {width}")
        writer.writerow(cells)
        if out.tell() >= CHUNK:
            yield _taken(out)
    yield _taken(out)


def _taken(out: io.StringIO) -> bytes:
    text = out.getvalue()
    out.seek(0)
    out.truncate()
    return text.encode()


def write_xlsx(sheets: Mapping[str, Iterable[Sequence[object]]], target: IO[bytes]) -> None:
    """One sheet for each table, the header first, written as it is read. Cells as in CSV; what is a number stays one.

    A moment is text with its offset: a workbook's times have none. Raises TypeError as write_csv.
    """
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name[:31])
        sheet.freeze_panes = "A2"
        for row in rows:
            sheet.append([_book_cell(value) for value in row])
    book.save(target)


def _book_cell(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, Decimal | int):
        text = _cell(value)
        # What a workbook cannot hold would make it unreadable as a whole.
        return _UNWRITABLE.sub("\N{REPLACEMENT CHARACTER}", text) or None
    return value


def guarded(text: str) -> str:
    """The text behind a single quote if a spreadsheet would calculate it."""
    first = text[:1] if text[:1] in _GUARDED else text.lstrip()[:1]
    return f"'{text}" if first and first in _GUARDED else text


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return guarded(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    raise TypeError(f"a cell of {type(value).__name__} has no agreed way of being written")
