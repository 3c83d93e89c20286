"""Label stock by its geometry: page, grid, label, pitch, printer resolution.

Sheet figures are from public template files, rounded to 0.1 mm. Published figures for one stock differ by up
to 0.8 mm between sources, so each number can be replaced and a printer offset laid on top. Roll sizes are
common nominal sizes (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from labels.errors import LabelError
from labels.qr import dots_per_mm

# Half the last digit on each of the rounded figures that add up.
ROUNDING_MM = 0.1
OFFSET_LIMIT_MM = 10.0
RESOLUTIONS = (203, 300, 600)


@dataclass(frozen=True)
class Stock:
    """One kind of stock, mm; left and top are the first label's corner; pitch runs from label to label.

    Raises LabelError `stock-size`, `stock-overflow`, `stock-overlap` or `stock-dpi`.
    """

    name: str
    page_w: float
    page_h: float
    columns: int
    rows: int
    label_w: float
    label_h: float
    left: float = 0.0
    top: float = 0.0
    pitch_x: float = 0.0
    pitch_y: float = 0.0
    dpi: int = 600

    def __post_init__(self) -> None:
        _refuse_sizes(self)
        _refuse_grid(self, "page_w", self.left, self.columns, self.label_w, self.pitch_x, self.page_w)
        _refuse_grid(self, "page_h", self.top, self.rows, self.label_h, self.pitch_y, self.page_h)

    @property
    def per_page(self) -> int:
        """Labels on one page."""
        return self.columns * self.rows

    @property
    def dots_per_mm(self) -> float:
        """Printer dots in a millimetre."""
        return dots_per_mm(self.dpi)


def _refuse_sizes(stock: Stock) -> None:
    for name in ("page_w", "page_h", "label_w", "label_h"):
        if not 5 <= getattr(stock, name) <= 1000:
            raise _fault(
                "stock-size",
                name,
                f"{getattr(stock, name)} mm is no size for a page or label",
                "Use 5 to 1000 mm.",
            )
    for name in ("left", "top", "pitch_x", "pitch_y"):
        # The comparison is also false for a value that is not a number.
        if not (math.isfinite(getattr(stock, name)) and getattr(stock, name) >= 0):
            raise _fault(
                "stock-size", name, f"{getattr(stock, name)} mm is not a distance", "Use 0 mm or more."
            )
    for name in ("columns", "rows"):
        if not 1 <= getattr(stock, name) <= 100:
            raise _fault(
                "stock-size", name, f"{getattr(stock, name)} is no number of labels", "Use 1 to 100."
            )
    if stock.dpi not in RESOLUTIONS:
        raise _fault("stock-dpi", "dpi", f"{stock.dpi} dpi is not known here", "Use 203, 300 or 600.")


def _refuse_grid(
    stock: Stock, field: str, first: float, count: int, label: float, pitch: float, page: float
) -> None:
    if count > 1 and pitch < label - ROUNDING_MM:
        what = f"{stock.name}: labels of {label:g} mm at a pitch of {pitch:g} mm lie on each other"
        raise _fault(
            "stock-overlap",
            field.replace("page_w", "pitch_x").replace("page_h", "pitch_y"),
            what,
            "Measure from one label's edge to the next one's same edge.",
        )
    end = first + (count - 1) * pitch + label
    if end > page + ROUNDING_MM:
        what = f"{stock.name}: the last label ends at {end:.1f} mm on a page of {page:g} mm"
        raise _fault(
            "stock-overflow",
            field,
            what,
            "Measure the sheet again; check the number of labels and the pitch.",
        )


def _fault(code: str, field: str, what: str, remedy: str) -> LabelError:
    return LabelError(code, f"{what}.", remedy=remedy, field=field)


@dataclass(frozen=True)
class PrinterOffset:
    """How far to move the printing, mm: x to the right, y downwards. Raises LabelError `printer-offset`."""

    x: float = 0.0
    y: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not -OFFSET_LIMIT_MM <= value <= OFFSET_LIMIT_MM:
                raise LabelError(
                    "printer-offset",
                    f"An offset of {value} mm is more than a printer is ever out.",
                    remedy="Use -10 to 10 mm; if more seems needed, the stock's own figures are wrong.",
                    field=field.name,
                )


def _sheet(
    page: str,
    columns: int,
    rows: int,
    label: tuple[float, float],
    first: tuple[float, float],
    pitch: tuple[float, float],
) -> Stock:
    width, height = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}[page]
    return Stock(f"{page}-{columns}x{rows}", width, height, columns, rows, *label, *first, *pitch)


def _roll(width: float, height: float, dpi: int = 203) -> Stock:
    return Stock(f"roll-{width:g}x{height:g}", width, height, 1, 1, width, height, dpi=dpi)


PRESETS: dict[str, Stock] = {
    stock.name: stock
    for stock in (
        _sheet("letter", 2, 3, (101.6, 84.7), (4.0, 12.7), (106.4, 84.7)),
        _sheet("letter", 2, 5, (101.6, 50.8), (4.1, 12.7), (106.4, 50.8)),
        _sheet("letter", 2, 7, (101.6, 33.9), (4.0, 21.2), (106.4, 33.9)),
        _sheet("letter", 2, 10, (101.6, 25.4), (4.0, 12.7), (106.4, 25.4)),
        _sheet("letter", 3, 10, (66.7, 25.4), (4.0, 12.7), (70.6, 25.4)),
        _sheet("letter", 4, 20, (44.5, 12.7), (7.1, 12.7), (52.4, 12.7)),
        _sheet("a4", 2, 4, (99.1, 67.7), (4.7, 13.0), (101.6, 67.7)),
        _sheet("a4", 2, 7, (99.1, 38.1), (3.4, 15.2), (103.0, 38.1)),
        _sheet("a4", 2, 8, (99.1, 33.9), (4.0, 13.0), (102.5, 33.9)),
        _sheet("a4", 3, 6, (63.6, 46.8), (7.4, 8.1), (65.9, 46.7)),
        _sheet("a4", 3, 7, (64.0, 38.1), (7.5, 15.5), (66.0, 38.1)),
        _sheet("a4", 4, 10, (45.7, 25.4), (10.0, 22.0), (48.5, 25.4)),
        _sheet("a4", 5, 13, (38.1, 21.2), (4.7, 10.9), (40.6, 21.2)),
        _roll(50, 25),
        _roll(57, 32),
        _roll(100, 50),
        _roll(102, 152),
    )
}


def stock_named(name: str) -> Stock:
    """The preset of that name. Raises LabelError `stock-unknown`."""
    try:
        return PRESETS[name]
    except KeyError:
        raise LabelError(
            "stock-unknown",
            f"There is no stock {name}.",
            remedy=f"Choose from {', '.join(PRESETS)}.",
            field="stock",
        ) from None
