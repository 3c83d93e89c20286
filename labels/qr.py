"""The QR symbol as a grid of modules, and as vector rectangles of whole printer dots."""

from __future__ import annotations

import math
from collections.abc import Iterable
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

_NOUGHTS = "0" * 12
# Longer text than any address of ours takes the way of one by one.
LONGEST_PREPARED = 200
_LEVELS = {
    "L": qrcode.constants.ERROR_CORRECT_L,
    "M": qrcode.constants.ERROR_CORRECT_M,
    "Q": qrcode.constants.ERROR_CORRECT_Q,
    "H": qrcode.constants.ERROR_CORRECT_H,
}


# Symbols made side by side for the run that is being drawn; another thread's run may put its own here meanwhile, and
# then they are made one by one.
_prepared: dict[tuple[str, str], Matrix] = {}


def prepare(texts: Iterable[str], error: str = "H") -> None:
    """Make the symbols that `matrix` will be asked for next all at once; what cannot be made so is left to it."""
    # Only this needs arrays, and they take a while to import.
    from labels.batch import made

    global _prepared
    fit = [text for text in texts if text and _NOUGHTS not in text and ALPHANUMERIC.issuperset(text)]
    plain = [text for text in fit if len(text) <= LONGEST_PREPARED]
    _prepared = {(text, error): grid for text, grid in made(plain, _LEVELS[error]).items()}


def matrix(text: str, error: str = "H", version: int | None = None) -> Matrix:
    """The symbol of `text` in alphanumeric mode, rows from the top, True for dark, without the quiet zone.

    error is L, M, Q or H; version None takes the smallest that fits. The mask is the standard's best.
    Raises LabelError `qr-characters` for text outside the alphanumeric set, `qr-too-long`, `qr-level`,
    `qr-noughts`.
    """
    found = _prepared.get((text, error)) if version is None else None
    return _matrix(text, error, version) if found is None else found


@lru_cache(maxsize=256)
def _matrix(text: str, error: str, version: int | None) -> Matrix:
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


@lru_cache(maxsize=256)
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
    import numpy as np

    framed = np.zeros((len(grid), len(grid[0]) + 2), dtype=np.int8)
    framed[:, 1:-1] = grid
    steps = np.diff(framed, axis=1)
    rows, starts = np.nonzero(steps == 1)
    ends = np.nonzero(steps == -1)[1]
    return zip(rows.tolist(), starts.tolist(), (ends - starts).tolist(), strict=True)


def draw(canvas: Any, grid: Matrix, x_mm: float, y_mm: float, module: float) -> None:
    """Draw the symbol and its white quiet zone on a reportlab canvas as one path.

    (x_mm, y_mm) is the top left corner of the quiet zone on a canvas whose y runs upwards from the bottom;
    module is the module's side in mm. Raw operators in whole modules keep a page of tags small.
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
