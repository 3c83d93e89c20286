"""Which cells of a sheet are printed, in what order, and where each lies on its page."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from itertools import count as numbers

from labels.errors import LabelError
from labels.stock import PrinterOffset, Stock

# Kept free inside the label's edge: cutting and feeding are no more exact than this.
EDGE_MM = 2.0
ROTATIONS = (0, 90, 180, 270)
# Past this a printed bar shows that the dialog scaled the page.
SCALE_LIMIT_PERCENT = 0.5

Transform = tuple[float, float, float, float, float, float]


@dataclass(frozen=True)
class Cell:
    """One label's place: page and number on it (along the rows) from 1, box in mm from the top left."""

    page: int
    number: int
    x: float
    y: float
    w: float
    h: float


def cells(
    stock: Stock,
    count: int,
    start: int = 1,
    skip: Collection[int] = (),
    offset: PrinterOffset = PrinterOffset(),  # noqa: B008, a frozen value
) -> tuple[Cell, ...]:
    """The next `count` cells, beginning with cell `start` of the first page.

    `skip` names spoilt cells of the first page, which is the part-used one; later pages are whole.
    Raises LabelError `count`, `start-cell`, `skip-cell` or `printer-offset`.
    """
    _refuse(stock, count, start, skip)
    _refuse_offset(stock, offset)
    places = _places(stock, start, frozenset(skip))
    return tuple(
        _cell(stock, page, number, offset) for (page, number), _ in zip(places, range(count), strict=False)
    )


def _places(stock: Stock, start: int, skip: frozenset[int]) -> Iterator[tuple[int, int]]:
    first = [number for number in range(start, stock.per_page + 1) if number not in skip]
    yield from ((1, number) for number in first)
    # A first page with no free cell is not printed at all, so the next page is page 1.
    for page in numbers(2 if first else 1):
        yield from ((page, number) for number in range(1, stock.per_page + 1))


def _cell(stock: Stock, page: int, number: int, offset: PrinterOffset) -> Cell:
    row, column = divmod(number - 1, stock.columns)
    x = stock.left + column * stock.pitch_x + offset.x
    y = stock.top + row * stock.pitch_y + offset.y
    return Cell(page, number, x, y, stock.label_w, stock.label_h)


def _refuse(stock: Stock, count: int, start: int, skip: Collection[int]) -> None:
    if count < 1:
        raise LabelError(
            "count", f"{count} labels is nothing to print.", remedy="Ask for 1 or more.", field="count"
        )
    for code, field, number in (("start-cell", "start", start), *(("skip-cell", "skip", n) for n in skip)):
        if not 1 <= number <= stock.per_page:
            raise LabelError(
                code,
                f"{stock.name} has no cell {number}.",
                remedy=f"Cells count along the rows from 1 to {stock.per_page}.",
                field=field,
            )


def _refuse_offset(stock: Stock, offset: PrinterOffset) -> None:
    last = _cell(stock, 1, stock.per_page, offset)
    first = _cell(stock, 1, 1, offset)
    right, bottom = last.x + last.w - EDGE_MM, last.y + last.h - EDGE_MM
    # The printing itself keeps clear of the edge, so that much of a label may hang over the page.
    if min(first.x, first.y) + EDGE_MM < 0 or right > stock.page_w + 0.1 or bottom > stock.page_h + 0.1:
        raise LabelError(
            "printer-offset",
            f"An offset of {offset.x:g}, {offset.y:g} mm moves the printing of {stock.name} off the page.",
            remedy="Use a smaller offset, or correct the stock's first label position.",
            field="offset",
        )


def next_start(stock: Stock, used: tuple[Cell, ...]) -> int:
    """The cell to start with next time, after these were printed."""
    return used[-1].number % stock.per_page + 1


def frame(stock: Stock, rotation: int) -> tuple[float, float]:
    """Width and height, mm, of the label as its reader holds it. Raises LabelError `rotation`."""
    if rotation not in ROTATIONS:
        raise LabelError(
            "rotation",
            f"{rotation} degrees is no rotation.",
            remedy="Use 0, 90, 180 or 270.",
            field="rotation",
        )
    return (stock.label_h, stock.label_w) if rotation in (90, 270) else (stock.label_w, stock.label_h)


def transform(stock: Stock, cell: Cell, rotation: int) -> Transform:
    """The matrix (a, b, c, d, e, f), mm, from the reader's frame to the page; both with y upwards.

    The frame's origin is its bottom left corner. Rotation is clockwise, as on the printed page.
    """
    frame(stock, rotation)
    left, bottom = cell.x, stock.page_h - cell.y - cell.h
    return {
        0: (1, 0, 0, 1, left, bottom),
        90: (0, -1, 1, 0, left, bottom + cell.h),
        180: (-1, 0, 0, -1, left + cell.w, bottom + cell.h),
        270: (0, 1, -1, 0, left + cell.w, bottom),
    }[rotation]


def scale_fault(printed: float, measured: float) -> float | None:
    """Percent by which the page was scaled, if a bar of `printed` mm is more than 0.5 % off; else None."""
    percent = (measured - printed) / printed * 100
    return percent if abs(percent) > SCALE_LIMIT_PERCENT + 1e-9 else None
