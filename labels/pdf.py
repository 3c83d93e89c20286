"""The PDFs: two-part tags, sack labels, and the page that shows whether the printer keeps to the sheet.

Labels are drawn in the page's own operators, since a run has hundreds.

Every file asks the print dialog for no scaling (/PrintScaling /None, ISO 32000), and the same input gives the
same bytes. Nothing is written unless the whole run can be laid out.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import TypeVar

from labels import document, qr
from labels.calibration import calibration_page
from labels.document import FONTS, FORM, Target
from labels.layout import CAPS, POINTS, THIN_PT, Box, Marks, SackLabel, Tag, Text, sack_marks, tag_marks
from labels.sheet import Cell, cells, frame, transform
from labels.stock import PrinterOffset, Stock

__all__ = ["SackLabel", "Tag", "calibration_page", "sack_labels", "tags"]

Progress = Callable[[int, int], None]
Item = TypeVar("Item")
NO_OFFSET = PrinterOffset()
_ESCAPED = str.maketrans({mark: "\\" + mark for mark in "()\\"})
# Labels whose symbols are made side by side.
AT_ONCE = 64


def tags(
    file: Target,
    stock: Stock,
    items: Sequence[Tag],
    *,
    start: int = 1,
    skip: Collection[int] = (),
    rotation: int = 0,
    offset: PrinterOffset = NO_OFFSET,
    dots: int | None = None,
    progress: Progress | None = None,
) -> tuple[Cell, ...]:
    """Write two-part tags and return the cells used, one for each item in order.

    dots is the module's side in printer dots (None: as large as fits); start, skip and offset are as in
    sheet.cells; rotation in degrees clockwise; progress is called with (done, total). Raises LabelError.
    """
    places = cells(stock, len(items), start, skip, offset)
    return _write(file, stock, items, places, rotation, dots, progress, tag_marks, _of_tag, "Tags")


def sack_labels(
    file: Target,
    stock: Stock,
    items: Sequence[SackLabel],
    *,
    start: int = 1,
    skip: Collection[int] = (),
    rotation: int = 0,
    offset: PrinterOffset = NO_OFFSET,
    dots: int | None = None,
    progress: Progress | None = None,
) -> tuple[Cell, ...]:
    """Write sack labels and return the cells used; arguments and errors as for tags."""
    places = cells(stock, len(items), start, skip, offset)
    return _write(file, stock, items, places, rotation, dots, progress, sack_marks, _of_sack, "Sack labels")


def _of_tag(tag: Tag) -> tuple[str, ...]:
    return tag.bag_url, tag.stub_url


def _of_sack(label: SackLabel) -> tuple[str, ...]:
    return (label.url,)


def _write(
    file: Target,
    stock: Stock,
    items: Sequence[Item],
    places: tuple[Cell, ...],
    rotation: int,
    dots: int | None,
    progress: Progress | None,
    lay_out: Callable[[Stock, int, Item, int | None], Marks],
    symbols_of: Callable[[Item], tuple[str, ...]],
    title: str,
) -> tuple[Cell, ...]:
    width, height = frame(stock, rotation)
    drawn: list[list[bytes]] = []
    for done, item in enumerate(items, start=1):
        if done % AT_ONCE == 1:
            qr.prepare(text for one in items[done - 1 : done - 1 + AT_ONCE] for text in symbols_of(one))
        drawn.append(_drawn(lay_out(stock, rotation, item, dots), height))
        if progress:
            progress(done, len(items))
    # What all labels of the run have in common is written once and called on each.
    common = set(drawn[0]).intersection(*drawn[1:])
    form = b"\n".join(mark for mark in drawn[0] if mark in common)
    pages: list[bytearray] = []
    for marks, cell in zip(drawn, places, strict=True):
        while len(pages) < cell.page:
            pages.append(bytearray())
        a, b, c, d, e, f = transform(stock, cell, rotation)
        pages[-1] += b"q %d %d %d %d %.2f %.2f cm/%b Do\n" % (a, b, c, d, e * POINTS, f * POINTS, FORM)
        pages[-1] += b"\n".join([mark for mark in marks if mark not in common])
        pages[-1] += b" Q\n"
    size = (stock.page_w * POINTS, stock.page_h * POINTS)
    shared = ((width * POINTS, height * POINTS), form)
    document.write(file, f"{title} on {stock.name}", size, pages, shared)
    return places


def _drawn(marks: Marks, height: float) -> list[bytes]:
    """What draws each mark of a label (ISO 32000-1, Annex A), y upwards from its bottom left corner."""
    drawn = [_outlines(marks, height)]
    drawn += [_text(text, height).encode("cp1252") for text in marks.texts]
    for symbol in marks.symbols:
        drawn += qr.pictures(symbol.grid, symbol.box.x, height - symbol.box.bottom, symbol.module)
    return drawn


def _outlines(marks: Marks, height: float) -> bytes:
    drawn = [f"{THIN_PT} w"]
    drawn += [
        f"{_at(box.x)} {_at(height - box.bottom)} {_at(box.w)} {_at(box.h)} re S" for box in marks.boxes
    ]
    drawn += [_rule(rule, height) for rule in marks.rules]
    if marks.tear:
        drawn.append(f"q [4 3] 0 d {_rule(marks.tear, height)} Q")
    return "\n".join(drawn).encode("ascii")


def _at(mm: float) -> str:
    """The same in points, to a fiftieth of a millimetre: finer than a dot of any printer here."""
    return f"{mm * POINTS:.1f}"


def _rule(rule: Box, height: float) -> str:
    begin, end = (rule.x, height - rule.y), (rule.right, height - rule.bottom)
    return f"{_at(begin[0])} {_at(begin[1])} m {_at(end[0])} {_at(end[1])} l S"


def _text(text: Text, height: float) -> str:
    font = FONTS["Helvetica-Bold" if text.bold else "Helvetica"]
    share = {"left": 0.0, "centre": 0.5, "right": 1.0}[text.align]
    x = text.box.x + share * (text.box.w - text.width)
    y = height - text.box.y - text.box.h / 2 - text.size * CAPS / 2 / POINTS
    narrow = "" if text.narrow == 1 else f"{text.narrow * 100:.2f} Tz "
    back = narrow and "100 Tz "
    words = text.words.translate(_ESCAPED)
    return f"BT/{font} {text.size:.4g} Tf {narrow}{_at(x)} {_at(y)} Td({words})Tj {back}ET"
