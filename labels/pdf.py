"""The PDFs: two-part tags, sack labels, and the page that shows whether the printer keeps to the sheet.

Every file asks the print dialog for no scaling (/PrintScaling /None, ISO 32000), and the same input gives the
same bytes. Nothing is written unless the whole run can be laid out.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from labels import qr
from labels.layout import CAPS, POINTS, Box, Marks, SackLabel, Tag, Text, sack_marks, tag_marks
from labels.sheet import Cell, cells, frame, transform
from labels.stock import PrinterOffset, Stock

__all__ = ["SackLabel", "Tag", "calibration_page", "sack_labels", "tags"]

Progress = Callable[[int, int], None]
Target = str | Path | BinaryIO
Item = TypeVar("Item")
NO_OFFSET = PrinterOffset()
THIN_PT = 0.6
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
    canvas, page = _canvas(file, stock, title), 1
    _, height = frame(stock, rotation)
    for done, (item, cell) in enumerate(zip(items, places, strict=True), start=1):
        if done % AT_ONCE == 1:
            qr.prepare(text for one in items[done - 1 : done - 1 + AT_ONCE] for text in symbols_of(one))
        marks = lay_out(stock, rotation, item, dots)
        if cell.page != page:
            canvas.showPage()
            page = cell.page
        canvas.saveState()
        a, b, c, d, e, f = transform(stock, cell, rotation)
        canvas.transform(a, b, c, d, e * POINTS, f * POINTS)
        _draw(canvas, marks, height)
        canvas.restoreState()
        if progress:
            progress(done, len(items))
    canvas.showPage()
    canvas.save()
    return places


def _canvas(file: Target, stock: Stock, title: str) -> Any:
    size = (stock.page_w * POINTS, stock.page_h * POINTS)
    target = str(file) if isinstance(file, Path) else file
    # Pages as bytes and not as text: a quarter smaller, and sooner written.
    rl_config.useA85 = 0
    # PrintScaling came with PDF 1.6; viewers that go by the header would ignore it in an older file.
    canvas = Canvas(target, pagesize=size, invariant=1, pdfVersion=(1, 6))
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setTitle(f"{title} on {stock.name}")
    return canvas


def _draw(canvas: Any, marks: Marks, height: float) -> None:
    canvas.setLineWidth(THIN_PT)
    for box in marks.boxes:
        canvas.rect(box.x * POINTS, (height - box.bottom) * POINTS, box.w * POINTS, box.h * POINTS)
    for rule in marks.rules:
        _rule(canvas, rule, height)
    if marks.tear:
        canvas.saveState()
        canvas.setDash(4, 3)
        _rule(canvas, marks.tear, height)
        canvas.restoreState()
    for symbol in marks.symbols:
        qr.draw(canvas, symbol.grid, symbol.box.x, height - symbol.box.y, symbol.module)
    for text in marks.texts:
        _text(canvas, text, height)


def _rule(canvas: Any, rule: Box, height: float) -> None:
    canvas.line(
        rule.x * POINTS, (height - rule.y) * POINTS, rule.right * POINTS, (height - rule.bottom) * POINTS
    )


def _text(canvas: Any, text: Text, height: float) -> None:
    font = "Helvetica-Bold" if text.bold else "Helvetica"
    width = canvas.stringWidth(text.words, font, text.size) * text.narrow
    spare = text.box.w * POINTS - width
    x = text.box.x * POINTS + {"left": 0.0, "centre": spare / 2, "right": spare}[text.align]
    y = (height - text.box.y - text.box.h / 2) * POINTS - text.size * CAPS / 2
    line = canvas.beginText(x, y)
    line.setFont(font, text.size)
    line.setHorizScale(text.narrow * 100)
    line.textOut(text.words)
    canvas.drawText(line)


def calibration_page(file: Target, stock: Stock, *, offset: PrinterOffset = NO_OFFSET) -> float:
    """Write the test page and return the length of its bars in mm (100, or less on a small page).

    Printed on plain paper and held to the light against a sheet, it shows a shift (the same everywhere: set
    the offset) and a scale (growing across the page: print at actual size).
    """
    places = cells(stock, stock.per_page, offset=offset)
    canvas = _canvas(file, stock, "Test page")
    canvas.setLineWidth(THIN_PT)
    for cell in places:
        canvas.rect(cell.x * POINTS, _up(stock, cell.y + cell.h), cell.w * POINTS, cell.h * POINTS)
    for cell in (places[0], places[-1]):
        _cross(canvas, stock, cell)
    bar = _bar_length(stock)
    _bars(canvas, stock, bar)
    _instructions(canvas, stock, bar)
    canvas.showPage()
    canvas.save()
    return bar


def _up(stock: Stock, y: float) -> float:
    return (stock.page_h - y) * POINTS


def _cross(canvas: Any, stock: Stock, cell: Cell) -> None:
    """A cross over the cell's centre, its arms short enough to keep clear of the words."""
    x, y, arm = cell.x + cell.w / 2, cell.y + cell.h / 2, min(5.0, min(cell.w, cell.h) / 4)
    for dx, dy in ((arm, 0.0), (0.0, arm)):
        _rule(canvas, Box(x - dx, y - dy, 2 * dx, 2 * dy), stock.page_h)


def _bar_length(stock: Stock) -> float:
    shorter = min(stock.page_w, stock.page_h)
    return min(100.0, (shorter - 8) // 10 * 10 or 5.0)


def _corner(stock: Stock, length: float) -> tuple[float, float]:
    """Where the bars meet: mid-page on sheets, at the left on rolls, where the only cross stands mid-page."""
    x = 4.0 if stock.per_page == 1 else (stock.page_w - length) / 2
    return x, (stock.page_h + length) / 2


def _bars(canvas: Any, stock: Stock, length: float) -> None:
    """One bar each way from a common corner, ends marked, thicker than the cells' outlines."""
    x, y = _corner(stock, length)
    canvas.setLineWidth(1.5)
    canvas.setLineCap(0)
    for bar in (Box(x, y, length, 0), Box(x, y - length, 0, length)):
        _rule(canvas, bar, stock.page_h)
    canvas.setLineWidth(THIN_PT)
    for end in (
        Box(x + length, y - 1.5, 0, 3),
        Box(x - 1.5, y - length, 3, 0),
        Box(x, y, 0, 1.5),
        Box(x - 1.5, y, 1.5, 0),
    ):
        _rule(canvas, end, stock.page_h)


def _instructions(canvas: Any, stock: Stock, length: float) -> None:
    """Words on white in the angle between the bars."""
    lines = (
        f"Test page for {stock.name}",
        f"Both bars must measure {length:g} mm.",
        "If not, set Actual size (100 %)",
        "in the print dialog, and print again.",
        "Hold it to the light against a sheet.",
        "If all outlines are off alike,",
        "set the printer's offset.",
    )
    size = min(11.0, (length - 6) * POINTS / 19)
    step = size * 1.3 / POINTS
    corner_x, corner_y = _corner(stock, length)
    x, y = corner_x + 2, corner_y - 2 - step * len(lines)
    width = max(canvas.stringWidth(line, "Helvetica", size) for line in lines) / POINTS
    canvas.setFillGray(1)
    canvas.rect(
        (x - 0.5) * POINTS,
        _up(stock, y + step * len(lines)),
        (width + 1) * POINTS,
        step * len(lines) * POINTS,
        stroke=0,
        fill=1,
    )
    canvas.setFillGray(0)
    canvas.setFont("Helvetica", size)
    for place, line in enumerate(lines, start=1):
        canvas.drawString(x * POINTS, _up(stock, y + step * (place - 0.25)), line)
