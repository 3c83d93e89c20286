"""A pen for papers of flowing text: laid out in mm from the top left, drawn when all pages are known.

Black on white, thin rules, the built-in fonts. Laying out first lets each page say how many there are.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

MM = 72 / 25.4
EDGE_MM, FOOT_MM = 6.0, 6.0
NAME_MM, WIDE_MM = 16.0, 120.0
PLAIN, BOLD = "Helvetica", "Helvetica-Bold"
BODY_PT, HEAD_PT, SMALL_PT = 8.5, 9.5, 7.5
LEADING = 1.22

Progress = Callable[[int, int], None]
Target = str | Path | BinaryIO


@dataclass(frozen=True)
class Text:
    """Words on a line: y is the baseline, size in points."""

    x: float
    y: float
    words: str
    size: float
    bold: bool


@dataclass(frozen=True)
class Line:
    """A rule, its width in points."""

    x: float
    y: float
    to_x: float
    to_y: float
    width: float = 0.4


@dataclass(frozen=True)
class Box:
    """A frame by its top left corner; round: the ellipse within."""

    x: float
    y: float
    w: float
    h: float
    round: bool = False


Mark = Text | Line | Box


@dataclass
class Sheet:
    """A pen that moves down the page (mm from the top) and turns to the next when there is no room."""

    width: float
    height: float
    pages: list[list[Mark]] = field(default_factory=lambda: [[]])
    y: float = EDGE_MM

    @property
    def right(self) -> float:
        return self.width - EDGE_MM

    @property
    def wide(self) -> bool:
        return self.width > WIDE_MM

    @property
    def inner(self) -> float:
        return self.width - 2 * EDGE_MM

    def mark(self, mark: Mark) -> None:
        """Put a mark on the page in hand."""
        self.pages[-1].append(mark)

    def room(self, height: float) -> None:
        """Turn the page unless so many mm are left on it."""
        if self.y + height > self.height - EDGE_MM - FOOT_MM and self.pages[-1]:
            self.pages.append([])
            self.y = EDGE_MM

    def text(
        self, words: str, *, size: float = BODY_PT, bold: bool = False, x: float = EDGE_MM, narrow: float = 0
    ) -> None:
        """Words broken to the width, from x to the right edge less narrow."""
        step = size * LEADING / MM
        for line in broken(words, size, bold, self.right - x - narrow):
            self.room(step)
            self.y += step
            self.mark(Text(x, self.y - step * 0.25, line, size, bold))

    def pair(self, name: str, words: str, narrow: float = 0) -> None:
        """A name and what it is, side by side; nothing when there is nothing to say."""
        if not words:
            return
        step = BODY_PT * LEADING / MM
        lines = broken(words, BODY_PT, True, self.inner - NAME_MM - narrow)
        self.room(step * len(lines))
        self.mark(Text(EDGE_MM, self.y + step * 0.75, name, BODY_PT, False))
        self.text(words, bold=True, x=EDGE_MM + NAME_MM, narrow=narrow)

    def rule(self, gap: float = 1.6) -> None:
        self.y += gap
        self.mark(Line(EDGE_MM, self.y, self.right, self.y))
        self.y += gap * 0.6

    def heading(self, words: str, following: float) -> None:
        """A rule and a heading, kept together with so many mm of what follows."""
        self.room(following + 7.3)
        if self.pages[-1]:
            self.rule()
        self.text(words, size=HEAD_PT, bold=True)
        self.y += 0.6

    def write_on(self, names: Sequence[str], height: float) -> None:
        """Names side by side, each with a line to write on."""
        self.room(height)
        self.y += height
        part = (self.inner + 3) / len(names)
        for number, name in enumerate(names):
            x = EDGE_MM + number * part
            start = x + (stringWidth(name, PLAIN, BODY_PT) / MM + 1.5 if name else 0)
            self.mark(Text(x, self.y - 0.4, name, BODY_PT, False))
            self.mark(Line(start, self.y, x + part - 3, self.y))


def broken(words: str, size: float, bold: bool, width_mm: float) -> list[str]:
    """Words in lines that fit; a word wider than a line is cut, for else it would run off the paper."""
    font, width = BOLD if bold else PLAIN, width_mm * MM
    pieces = []
    for word in printable(words).split():
        while stringWidth(word, font, size) > width:
            fits = next(
                n for n in range(len(word), 0, -1) if n == 1 or stringWidth(word[:n], font, size) <= width
            )
            pieces.append(word[:fits])
            word = word[fits:]
        pieces.append(word)
    lines: list[str] = simpleSplit(" ".join(pieces), font, size, width)
    return lines


def printable(words: str) -> str:
    """Letters the built-in fonts have: others lose their accents, or become a question mark."""
    kept = []
    for letter in words:
        if not letter.encode("cp1252", "ignore"):
            letter = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode() or "?"
        kept.append(letter)
    return "".join(kept)


def write(file: Target, sheet: Sheet, title: str, foot: str, progress: Progress | None = None) -> None:
    """Draw the sheet's pages, each with foot and "page x of y" below; the same sheet gives the same bytes.

    progress is called with (done, total) pages.
    """
    target = str(file) if isinstance(file, Path) else file
    canvas = Canvas(target, pagesize=(sheet.width * MM, sheet.height * MM), invariant=1)
    canvas.setTitle(title)
    total = len(sheet.pages)
    for number, marks in enumerate(sheet.pages, start=1):
        for mark in (*marks, *_foot(sheet, foot, number, total)):
            _draw(canvas, mark, sheet.height)
        canvas.showPage()
        if progress:
            progress(number, total)
    canvas.save()


def _foot(sheet: Sheet, foot: str, number: int, total: int) -> tuple[Mark, ...]:
    y = sheet.height - EDGE_MM
    words = f"page {number} of {total}"
    x = sheet.right - stringWidth(words, PLAIN, SMALL_PT) / MM
    return Text(EDGE_MM, y, printable(foot), SMALL_PT, False), Text(x, y, words, SMALL_PT, False)


def _draw(canvas: Any, mark: Mark, height: float) -> None:
    if isinstance(mark, Text):
        canvas.setFont(BOLD if mark.bold else PLAIN, mark.size)
        canvas.drawString(mark.x * MM, (height - mark.y) * MM, mark.words)
    elif isinstance(mark, Line):
        canvas.setLineWidth(mark.width)
        canvas.line(mark.x * MM, (height - mark.y) * MM, mark.to_x * MM, (height - mark.to_y) * MM)
    else:
        canvas.setLineWidth(0.6)
        x, y, w, h = mark.x * MM, (height - mark.y - mark.h) * MM, mark.w * MM, mark.h * MM
        if mark.round:
            canvas.ellipse(x, y, x + w, y + h)
        else:
            canvas.rect(x, y, w, h)
