"""The QR symbol as a grid of modules, and as vector rectangles of whole printer dots."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import qrcode
from qrcode.exceptions import DataOverflowError
from qrcode.util import MODE_ALPHA_NUM, QRData

from labels.errors import LabelError

Matrix = tuple[tuple[bool, ...], ...]

ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
# ISO/IEC 18004: four light modules all round. With none, on a dark bag, nothing read in our own trial.
QUIET = 4
MM_PER_INCH = 25.4
# Module sizes that read from hand distance: 4 dots at 203 dpi (0.500 mm), 5 dots at 300 dpi (0.423 mm).
SMALLEST_MODULE_MM = 0.42
FEWEST_DOTS = 4

_LEVELS = {
    "L": qrcode.constants.ERROR_CORRECT_L,
    "M": qrcode.constants.ERROR_CORRECT_M,
    "Q": qrcode.constants.ERROR_CORRECT_Q,
    "H": qrcode.constants.ERROR_CORRECT_H,
}


@lru_cache(maxsize=256)
def matrix(text: str, error: str = "H", version: int | None = None) -> Matrix:
    """The symbol of `text` in alphanumeric mode, rows from the top, True for dark, without the quiet zone.

    error is L, M, Q or H; version None takes the smallest that fits. The mask is the standard's best.
    Raises LabelError `qr-characters` for text outside the alphanumeric set, `qr-too-long`, `qr-level`,
    `qr-noughts`.
    """
    if error not in _LEVELS:
        raise LabelError(
            "qr-level", f"{error} is not an error level.", remedy="Use L, M, Q or H.", field="error"
        )
    if not text or not ALPHANUMERIC.issuperset(text):
        raise LabelError(
            "qr-characters",
            f"{text[:80]!r} cannot be held in alphanumeric mode.",
            remedy="Use capital letters, digits, space and $ % * + - . / : only.",
            field="text",
        )
    symbol = qrcode.QRCode(version=version, error_correction=_LEVELS[error], border=0)
    symbol.add_data(QRData(text.encode("ascii"), mode=MODE_ALPHA_NUM))
    try:
        symbol.make(fit=version is None)
    except (DataOverflowError, ValueError) as trouble:
        raise _unmade(text, error, version, trouble) from None
    return tuple(tuple(bool(module) for module in row) for row in symbol.modules)


def _unmade(text: str, error: str, version: int | None, trouble: Exception) -> LabelError:
    # qrcode raises plain ValueError when it runs out of versions, and (8.2) when a whole block of codewords is
    # zero, which takes some 16 noughts on end: no token will ever be drawn so, but a made-up one may be.
    if "0" * 12 in text and not isinstance(trouble, DataOverflowError):
        return LabelError(
            "qr-noughts",
            f"{text[:80]!r} has too many noughts on end to be made into a symbol.",
            remedy="Use a properly drawn code or token.",
            field="text",
        )
    return LabelError(
        "qr-too-long",
        f"{len(text)} characters do not fit version {version or 40} at level {error}.",
        remedy="Shorten the address, or leave the version open.",
        field="text",
    )


def dots_per_mm(dpi: int) -> float:
    """Printer dots in a millimetre. The heads sold as 203 dpi have 8 dots to the millimetre."""
    return 8.0 if dpi == 203 else dpi / MM_PER_INCH


def module_mm(dpi: int, dots: int) -> float:
    """The side of a module of `dots` whole printer dots, mm: 203 dpi and 4 dots give 0.500."""
    return dots / dots_per_mm(dpi)


def fewest_dots(dpi: int) -> int:
    """The smallest module we print, in dots: 4 at 203 dpi, 5 at 300 dpi, 10 at 600 dpi."""
    # The small allowance keeps binary fractions from turning an exact number of dots into one more.
    return max(FEWEST_DOTS, math.ceil(SMALLEST_MODULE_MM * dots_per_mm(dpi) - 1e-9))


def side_mm(modules: int, module: float) -> float:
    """The side of a symbol with its quiet zone, mm."""
    return (modules + 2 * QUIET) * module


@lru_cache(maxsize=256)
def rectangles(grid: Matrix) -> tuple[tuple[int, int, int, int], ...]:
    """Dark areas as (column, row, columns, rows): runs along a row, joined with equal runs in rows below."""
    open_runs: dict[tuple[int, int], int] = {}
    found: list[tuple[int, int, int, int]] = []
    for number, row in enumerate((*grid, ())):
        runs = _runs(row)
        for (start, length), first in list(open_runs.items()):
            if (start, length) not in runs:
                found.append((start, first, length, number - first))
                del open_runs[start, length]
        for run in runs:
            open_runs.setdefault(run, number)
    return tuple(found)


def _runs(row: tuple[bool, ...]) -> set[tuple[int, int]]:
    runs, start = set(), None
    for column, dark in enumerate((*row, False)):
        if dark and start is None:
            start = column
        elif not dark and start is not None:
            runs.add((start, column - start))
            start = None
    return runs


def draw(canvas: Any, grid: Matrix, x_mm: float, y_mm: float, module: float) -> None:
    """Draw the symbol and its white quiet zone on a reportlab canvas as one path.

    (x_mm, y_mm) is the top left corner of the quiet zone on a canvas whose y runs upwards from the bottom;
    module is the module's side in mm. Raw operators in whole modules keep a page of tags small.
    """
    points = module * 72 / MM_PER_INCH
    left, top = x_mm * 72 / MM_PER_INCH, y_mm * 72 / MM_PER_INCH
    side = len(grid) + 2 * QUIET
    dark = " ".join(
        f"{QUIET + column} {-QUIET - row - rows} {columns} {rows} re"
        for column, row, columns, rows in rectangles(grid)
    )
    canvas.addLiteral(
        f"q {points:.6f} 0 0 {points:.6f} {left:.4f} {top:.4f} cm "
        f"1 g 0 {-side} {side} {side} re f 0 g {dark} f Q"
    )
