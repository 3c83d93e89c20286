"""Any table a person sends: what a file is, its bytes decide and not its name, and a fallback is noted.

CSV is read as RFC 4180 describes it, with the delimiters and encodings that spreadsheets really write.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator

from tracker.errors import Refused
from tracker.files.table import Row, RowProblem, Table, assemble
from tracker.files.workbook import read_workbook

MOST_BYTES = 20 * 1024 * 1024

# Preferred when two delimiters fit equally well: a decimal comma puts commas inside the cells of a semicolon
# or tab file, while semicolons and tabs seldom stand inside cells.
_DELIMITERS = ("\t", ";", ",")
_SAMPLE_LINES = 30

_MAGIC = (
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF"),
    (b"\xd0\xcf\x11\xe0", "an old binary workbook (.xls)"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"SQLite format 3\x00", "a database"),
    (b"\x00\x00\xfe\xff", "UTF-32 text"),
    (b"\xff\xfe\x00\x00", "UTF-32 text"),
)
_MARKUP = re.compile(r"\s*(<[!?a-z]|\{\s*\"|\[\s*[\[{])", re.IGNORECASE)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f-\x84\x86-\x9f]")


def read_table(name: str, data: bytes, *, sheet: str | None = None) -> Table:
    """The table in `data`: CSV (UTF-8, UTF-16 with mark, Windows-1252; comma, semicolon or tab) or XLSX.

    sheet: the sheet wanted from a workbook, by name; else its first visible one.
    Raises Refused `file-too-large`, `file-empty`, `not-a-table`, `header-twice`, `header-empty`,
    `too-many-columns`, `too-many-rows`, `no-rows`; from a workbook also `unpacks-too-large`, `no-such-sheet`.
    """
    name = _plain_name(name)
    refuse_too_large(name, data)
    if not data.strip(b" \t\r\n\x00\xef\xbb\xbf\xff\xfe"):
        raise Refused("file-empty", f"{name} has nothing in it.", field="file", remedy="Export it again.")
    if data.startswith(b"PK\x03\x04"):
        if name.lower().endswith((".csv", ".tsv", ".txt")):
            raise _not_a_table(name, "a zip archive or workbook under a text file's name")
        return read_workbook(name, data, sheet)
    if name.lower().endswith((".xlsx", ".xlsm")):
        raise _not_a_table(name, "no workbook, whatever its name says")
    return _read_csv(name, data)


def refuse_too_large(name: str, data: bytes) -> None:
    """Nothing, if a file of this size is taken in. Raises Refused `file-too-large`."""
    if len(data) > MOST_BYTES:
        raise Refused(
            "file-too-large",
            f"{_plain_name(name)} has {len(data) / 1_048_576:.1f} MB; the most is {MOST_BYTES // 1_048_576} MB.",
            field="file",
            remedy="Export fewer rows, or divide the file.",
        )


def _plain_name(name: str) -> str:
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable())[:200] or "file"


def _not_a_table(name: str, what: str) -> Refused:
    return Refused(
        "not-a-table",
        f"{name} is {what}.",
        field="file",
        remedy="Export the table again as CSV (UTF-8) or XLSX; renaming a file does not convert it.",
    )


def _decoded(name: str, data: bytes) -> tuple[str, str, list[str]]:
    """(text, encoding, notes), or Refused when the bytes are no text."""
    for magic, what in _MAGIC:
        if data.startswith(magic):
            raise _not_a_table(name, what)
    notes: list[str] = []
    marked = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    encodings = ("utf-16",) if marked else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    else:
        raise _not_a_table(name, "not text in UTF-8, UTF-16 or Windows-1252")
    if encoding == "cp1252":
        notes.append(
            "The bytes are not UTF-8; they were read as Windows-1252 (Latin-1). Look at the accents."
        )
    text = text.rstrip("\x1a")  # old DOS programs end a text with Ctrl-Z
    if _CONTROL.search(text):
        raise _not_a_table(name, "binary, not text")
    if _MARKUP.match(text):
        raise _not_a_table(name, "marked-up text (HTML, XML or JSON), not a table")
    if not text.endswith(("\n", "\r")):
        notes.append("The last line has no line end; if rows are missing, the file was cut off.")
    label = "utf-8" if encoding == "utf-8-sig" else encoding
    return text, label, notes


def _read_csv(name: str, data: bytes) -> Table:
    text, encoding, notes = _decoded(name, data)
    lines = io.StringIO(text, newline="").readlines()
    start, stated = _stated_delimiter(lines)
    delimiter = stated or _sniffed(lines[start:])
    records = _records(lines, delimiter, start)
    return assemble(name, data, "csv", encoding, delimiter, records, notes)


def _stated_delimiter(lines: list[str]) -> tuple[int, str]:
    """Some spreadsheets write `sep=;` above the header: (lines to skip, delimiter or "")."""
    match = re.fullmatch(r'"?sep=([,;\t])"?[\r\n]*', lines[0]) if lines else None
    return (1, match.group(1)) if match else (0, "")


def _sniffed(lines: list[str]) -> str:
    """The delimiter under which the first rows agree best with the header; a comma if none divides it."""
    best, chosen = (0.0, 1), ","
    head = [line[:20_000] for line in lines[:_SAMPLE_LINES]]
    for delimiter in _DELIMITERS:
        counts = _cell_counts(head, delimiter)
        if not counts or counts[0] < 2:
            continue
        rows = counts[1:] or counts
        score = (sum(count == counts[0] for count in rows) / len(rows), counts[0])
        if score > best:
            best, chosen = score, delimiter
    return chosen


def _cell_counts(lines: list[str], delimiter: str) -> list[int]:
    try:
        return [len(cells) for cells in csv.reader(lines, delimiter=delimiter) if cells]
    except csv.Error:
        return []


def _records(lines: list[str], delimiter: str, start: int) -> Iterator[Row]:
    """Rows from `lines[start:]`, each with its first physical line; blank lines are passed over.

    A quote that is opened and never closed would swallow every row after it. The row it stands in is
    reported, and reading goes on at the next physical line.
    """
    at = start
    while at < len(lines):
        # No slice: a file of nothing but broken rows would be copied once for each of them.
        rest = map(lines.__getitem__, range(at, len(lines)))
        reader = csv.reader(rest, delimiter=delimiter, strict=True)
        begun, base = at, at
        try:
            for cells in reader:
                if any(cells):
                    yield Row(begun + 1, tuple(cells))
                begun = base + reader.line_num
            return
        except csv.Error as error:
            yield Row(begun + 1, _roughly(lines[begun], delimiter), _broken(error))
            at = begun + 1


def _broken(error: csv.Error) -> RowProblem:
    unclosed = "end of data" in str(error) or "limit" in str(error)
    words = (
        "a quote is opened here and never closed."
        if unclosed
        else "a quote stands inside this row where none may."
    )
    return RowProblem(
        "broken-quotes", words, "Was the file cut off here, or is an inch mark written without doubling it?"
    )


def _roughly(line: str, delimiter: str) -> tuple[str, ...]:
    return tuple(line.rstrip("\r\n").split(delimiter))
