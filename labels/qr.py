"""The QR symbol as a grid of modules, drawn as rectangles of whole printer dots or as a picture of a bit a module."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
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

_NOUGHTS = "0" * 12
# Longer text than any address of ours takes the way of one by one.
LONGEST_PREPARED = 200
_LEVELS = {
    "L": qrcode.constants.ERROR_CORRECT_L,
    "M": qrcode.constants.ERROR_CORRECT_M,
    "Q": qrcode.constants.ERROR_CORRECT_Q,
    "H": qrcode.constants.ERROR_CORRECT_H,
}


@dataclass(frozen=True)
class Modules:
    """A symbol as it goes onto a label: modules along a side; rows from the top, one bit a module, in whole bytes.

    Dark is 0, as a stencil of PDF has it (ISO 32000-1, 8.9.6.2); a row is filled up with 1.
    fixed: the rows of the parts that are the same in every symbol of this size, where they are kept apart.
    """

    side: int
    rows: bytes
    fixed: bytes = b""


# Symbols made side by side for the run that is being drawn; another thread's run may put its own here meanwhile, and
# then they are made one by one.
_prepared: dict[tuple[str, str], Modules] = {}


def prepare(texts: Iterable[str], error: str = "H") -> None:
    """Make the symbols that `modules` will be asked for next all at once; what cannot be made so is left to it."""
    # Only this needs arrays, and they take a while to import.
    from labels.batch import made

    global _prepared
    fit = [text for text in texts if text and _NOUGHTS not in text and ALPHANUMERIC.issuperset(text)]
    plain = [text for text in fit if len(text) <= LONGEST_PREPARED]
    _prepared = {(text, error): Modules(*one) for text, one in made(plain, _LEVELS[error]).items()}


def modules(text: str, error: str = "H") -> Modules:
    """The symbol of `text` as `matrix` makes it, packed. Raises LabelError as matrix does."""
    return _prepared.get((text, error)) or packed(matrix(text, error))


def packed(grid: Matrix) -> Modules:
    """The same modules, one bit each."""
    side = len(grid)
    width = -(-side // 8)
    rows = ("".join("10"[dark] for dark in row).ljust(8 * width, "1") for row in grid)
    return Modules(side, b"".join(int(row, 2).to_bytes(width, "big") for row in rows))


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
    made = qrcode.QRCode(version=version, error_correction=_LEVELS[error], border=0)
    made.add_data(QRData(text.encode("ascii"), mode=MODE_ALPHA_NUM))
    try:
        made.make(fit=version is None)
    except (DataOverflowError, ValueError) as trouble:
        raise _unmade(text, error, version, trouble) from None
    return tuple(tuple(bool(module) for module in row) for row in made.modules)


def _unmade(text: str, error: str, version: int | None, trouble: Exception) -> LabelError:
    # qrcode raises plain ValueError when it runs out of versions, and (8.2) when a whole block of codewords is
    # zero, which takes some 16 noughts on end: no token will ever be drawn so, but a made-up one may be.
    if _NOUGHTS in text and not isinstance(trouble, DataOverflowError):
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


def rectangles(grid: Matrix) -> tuple[tuple[int, int, int, int], ...]:
    """Dark areas as (column, row, columns, rows): runs along a row, joined with equal runs in rows below."""
    found: list[tuple[int, int, int, int]] = []
    begun: dict[tuple[int, int], tuple[int, int]] = {}
    for row, start, length in _runs(grid):
        first, last = begun.get((start, length), (row, row - 1))
        if last < row - 1:
            found.append((start, first, length, last + 1 - first))
            first = row
        begun[start, length] = first, row
    found += [(start, first, length, last + 1 - first) for (start, length), (first, last) in begun.items()]
    return tuple(found)


def _runs(grid: Matrix) -> Iterable[tuple[int, int, int]]:
    """Row, first column and length of every dark run, row by row."""
    for number, row in enumerate(grid):
        column = 0
        for dark, run in groupby(row):
            length = len(list(run))
            if dark:
                yield number, column, length
            column += length


def draw(canvas: Any, grid: Matrix, x_mm: float, y_mm: float, module: float) -> None:
    """Draw the symbol and its white quiet zone on a reportlab canvas as one path.

    (x_mm, y_mm) is the top left corner of the quiet zone on a canvas whose y runs upwards from the bottom;
    module is the module's side in mm.
    """
    points = module * 72 / MM_PER_INCH
    left, top = x_mm * 72 / MM_PER_INCH, y_mm * 72 / MM_PER_INCH
    side = len(grid) + 2 * QUIET
    dark = " ".join(
        [
            f"{QUIET + column} {-QUIET - row - rows} {columns} {rows} re"
            for column, row, columns, rows in rectangles(grid)
        ]
    )
    canvas.addLiteral(
        f"q {points:.6f} 0 0 {points:.6f} {left:.4f} {top:.4f} cm "
        f"1 g 0 {-side} {side} {side} re f 0 g {dark} f Q"
    )


def pictures(symbol: Modules, left: float, bottom: float, module: float) -> list[bytes]:
    """The operators that paint the dark modules, as inline pictures (ISO 32000-1, 8.9.7).

    left and bottom, mm, are the corner of the quiet zone, which is left as it is; module in mm. The fixed parts are
    a picture of their own, in the same place, so that a file need hold them once.
    """
    points, side = 72 / MM_PER_INCH, symbol.side
    size = f"{side * module * points:.6g}"
    x, y = (left + QUIET * module) * points, (bottom + QUIET * module) * points
    begin = f"q {size} 0 0 {size} {x:.7g} {y:.7g} cm BI/W {side}/H {side}/IM true ID "
    parts = (symbol.fixed, symbol.rows) if symbol.fixed else (symbol.rows,)
    return [b"%b%b\nEI Q" % (begin.encode("ascii"), rows) for rows in parts]
