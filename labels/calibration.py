"""The test page that shows whether the printer keeps to the sheet."""

from __future__ import annotations

from typing import Any

from reportlab.pdfgen.canvas import Canvas

from labels.document import Target
from labels.layout import POINTS, THIN_PT, Box
from labels.sheet import Cell, cells
from labels.stock import PrinterOffset, Stock

NO_OFFSET = PrinterOffset()


def calibration_page(file: Target, stock: Stock, *, offset: PrinterOffset = NO_OFFSET) -> float:
    """Write the test page and return the length of its bars in mm (100, or less on a small page).

    Printed on plain paper and held to the light against a sheet, it shows a shift (the same everywhere: set
    the offset) and a scale (growing across the page: print at actual size).
    """
    places = cells(stock, stock.per_page, offset=offset)
    target = file if hasattr(file, "write") else str(file)
    size = (stock.page_w * POINTS, stock.page_h * POINTS)
    # As for the labels: no scaling, which came with PDF 1.6, and the same page each time.
    canvas = Canvas(target, pagesize=size, invariant=1, pdfVersion=(1, 6))
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setTitle(f"Test page on {stock.name}")
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


def _rule(canvas: Any, rule: Box, height: float) -> None:
    canvas.line(
        rule.x * POINTS, (height - rule.y) * POINTS, rule.right * POINTS, (height - rule.bottom) * POINTS
    )


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
