"""Tags and sack labels of the programme on the stock that is in the printer."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from labels import LabelError, payload, pdf
from labels.stock import PrinterOffset, Stock, stock_named
from tracker.errors import Refused

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Layout:
    """What the labels are printed on and where they begin. offset in mm, to the right and downwards."""

    stock: str
    start: int = 1
    skip: tuple[int, ...] = ()
    rotation: int = 0
    offset: tuple[float, float] = (0.0, 0.0)

    def as_dict(self) -> dict[str, Any]:
        """Plain values, as kept with the print run."""
        return {
            "stock": self.stock,
            "start": self.start,
            "skip": list(self.skip),
            "rotation": self.rotation,
            "offset_mm": [f"{part:g}" for part in self.offset],
        }

    def options(self) -> dict[str, Any]:
        """The same as labels.pdf asks for it."""
        return {
            "start": self.start,
            "skip": self.skip,
            "rotation": self.rotation,
            "offset": PrinterOffset(*self.offset),
        }


@dataclass(frozen=True)
class Office:
    """Whose tags these are and where their codes lead."""

    programme: str
    phone: str
    base_url: str


def write_tags(
    file: Path | BinaryIO,
    office: Office,
    run: int,
    printed: Sequence[tuple[str, str]],
    layout: Layout,
    progress: Progress | None = None,
    numbers: Sequence[str] = (),
) -> None:
    """Write two-part tags for (code, token) pairs. Raises Refused with the codes of the labels package.

    numbers: what to call each tag for counting; else the run and its place in it.
    """
    with _refusing():
        items = [
            pdf.Tag(
                code=code,
                bag_url=payload.url(office.base_url, code),
                stub_url=payload.url(office.base_url, token),
                programme=office.programme,
                phone=office.phone,
                roll_no=numbers[number - 1] if numbers else f"{run}-{number:03d}",
            )
            for number, (code, token) in enumerate(printed, start=1)
        ]
        pdf.tags(file, _stock(layout), items, progress=progress, **layout.options())


def write_sack_labels(
    file: Path | BinaryIO, office: Office, sacks: Sequence[tuple[str, tuple[str, ...]]], layout: Layout
) -> None:
    """Write sack labels for (code, lines of text) pairs. Raises as write_tags."""
    with _refusing():
        items = [
            pdf.SackLabel(code=code, url=payload.url(office.base_url, code), lines=lines)
            for code, lines in sacks
        ]
        pdf.sack_labels(file, _stock(layout), items, **layout.options())


def write_test_page(file: Path | BinaryIO, layout: Layout) -> float:
    """Write the page that shows whether the printer scales, and return the length its bars should have, mm."""
    with _refusing():
        return pdf.calibration_page(file, _stock(layout), offset=PrinterOffset(*layout.offset))


def _stock(layout: Layout) -> Stock:
    return stock_named(layout.stock)


@contextmanager
def _refusing() -> Iterator[None]:
    try:
        yield
    except LabelError as error:
        raise Refused(error.code, error.message, field=error.field, remedy=error.remedy) from None
