"""Tables that leave the programme: CSV by RFC 4180 (2005), safe to open in a spreadsheet.

A spreadsheet calculates any text that begins with = + - or @, whoever typed it, so such text goes out behind
a single quote (OWASP ASVS 5.0.0, 1.2.10). Numbers are known by their type, not by their look, and are left
alone: -0.3 as a Decimal stays -0.3.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal

MEDIA_TYPE = "text/csv; charset=utf-8; header=present"

_GUARDED = frozenset("=+-@\t\r\n\x00")


def write_csv(rows: Iterable[Sequence[object]], *, mark: bool = False) -> bytes:
    """Rows, the header first, as UTF-8 with CRLF line ends; `mark` puts a byte order mark before it.

    Cells are text, Decimal or int (digits kept), date or aware datetime (ISO 8601), or None for nothing.
    Raises ValueError when rows differ in length, TypeError for a float or any other kind of cell.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    width = None
    for row in rows:
        cells = [_cell(value) for value in row]
        width = len(cells) if width is None else width
        if len(cells) != width:
            raise ValueError(f"a row of {len(cells)} cells among rows of {width}")
        writer.writerow(cells)
    return out.getvalue().encode("utf-8-sig" if mark else "utf-8")


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
