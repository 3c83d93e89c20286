"""A PDF of many like pages in little room: what they share is written once, and nearly everything compressed."""

from __future__ import annotations

import codecs
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

Target = str | Path | BinaryIO
Size = tuple[float, float]
Form = tuple[Size, bytes]
# The fonts that every reader has (ISO 32000-1, 9.6.2.2), by the name that a page calls them.
FONTS = {"Helvetica": "F1", "Helvetica-Bold": "F2"}
# How a page calls the marks that it shares with others.
FORM = b"M"
# The catalogue, the information and the tree of pages have the first numbers; then come each page and its marks.
CATALOGUE, ABOUT, TREE, SHARED, FIRST_PAGE = 1, 2, 3, 4, 5


def write(file: Target, title: str, size: Size, pages: Sequence[bytes | bytearray], form: Form) -> None:
    """Write pages of one size, points; each is what draws it, in operators of ISO 32000-1.

    form: the size of what a page draws by `/M Do` (8.10), points, and what draws it.

    Pages lie together in an object stream (7.5.7) under a table that is a stream too (7.5.8): PDF 1.5 and later.
    Every file asks the print dialog for no scaling. The same pages give the same bytes.
    """
    numbers = range(FIRST_PAGE, FIRST_PAGE + 2 * len(pages), 2)
    together, table = FIRST_PAGE + 2 * len(pages), FIRST_PAGE + 2 * len(pages) + 1
    inside = {TREE: _tree(size, numbers)}
    inside |= {number: f"<</Type/Page/Parent {TREE} 0 R/Contents {number + 1} 0 R>>" for number in numbers}
    # PrintScaling came with PDF 1.6; viewers that go by the header would ignore it in an older file.
    out, begins = bytearray(b"%PDF-1.6\n%\xe2\xe3\xcf\xd3\n"), {}

    def put(number: int, body: bytes) -> None:
        begins[number] = len(out)
        out.extend(b"%d 0 obj" % number + body + b"endobj\n")

    put(CATALOGUE, b"<</Type/Catalog/Pages %d 0 R/ViewerPreferences<</PrintScaling /None>>>>" % TREE)
    put(ABOUT, b"<</Title<%s>>>" % (codecs.BOM_UTF16_BE + title.encode("utf-16-be")).hex().encode())
    put(SHARED, _stream(f"/Type/XObject/Subtype/Form/BBox{_box(form[0])}/Resources<<{_fonts()}>>", form[1]))
    for number, marks in zip(numbers, pages, strict=True):
        put(number + 1, _stream("", marks))
    put(together, _together(inside))
    begins[table] = len(out)
    where = {number: (2, together, place) for place, number in enumerate(inside)}
    where |= {number: (1, begin, 0) for number, begin in begins.items()}
    put(table, _table(where, table + 1))
    out.extend(b"startxref\n%d\n%%%%EOF\n" % begins[table])
    if isinstance(file, str | Path):
        Path(file).write_bytes(out)
    else:
        file.write(out)


def _tree(size: Size, numbers: Sequence[int]) -> str:
    """All pages with what they share: their size, their fonts and the form."""
    kids = " ".join(f"{number} 0 R" for number in numbers)
    resources = f"<<{_fonts()}/XObject<</{FORM.decode()} {SHARED} 0 R>>>>"
    return f"<</Type/Pages/Count {len(numbers)}/Kids[{kids}]/MediaBox{_box(size)}/Resources{resources}>>"


def _box(size: Size) -> str:
    return f"[0 0 {size[0]:.2f} {size[1]:.2f}]"


def _fonts() -> str:
    fonts = "".join(
        f"/{short}<</Type/Font/Subtype/Type1/BaseFont/{name}/Encoding/WinAnsiEncoding>>"
        for name, short in FONTS.items()
    )
    return f"/Font<<{fonts}>>"


def _stream(entries: str, content: bytes | bytearray) -> bytes:
    small = zlib.compress(content, 9)
    return b"<<%s/Filter/FlateDecode/Length %d>>stream\n%b\nendstream\n" % (
        entries.encode(),
        len(small),
        small,
    )


def _together(objects: dict[int, str]) -> bytes:
    """Objects in one stream: first the number and place of each, then they themselves."""
    heads, at = [], 0
    for number, body in objects.items():
        heads.append(f"{number} {at}")
        at += len(body) + 1
    head = " ".join(heads) + "\n"
    content = head + "\n".join(objects.values())
    return _stream(f"/Type/ObjStm/N {len(objects)}/First {len(head)}", content.encode("ascii"))


def _table(where: dict[int, tuple[int, int, int]], size: int) -> bytes:
    """Where each object lies: at a byte of the file, or in which stream at which place."""
    rows = [(0, 0, 65535), *(where[number] for number in range(1, size))]
    content = b"".join(
        kind.to_bytes(1, "big") + begin.to_bytes(4, "big") + place.to_bytes(2, "big")
        for kind, begin, place in rows
    )
    return _stream(f"/Type/XRef/W[1 4 2]/Size {size}/Root {CATALOGUE} 0 R/Info {ABOUT} 0 R", content)
