"""Papers of tables that flow over pages: rows that stay whole, headings that come again, "page x of y".

Black on white, thin rules, the built-in fonts, whose figures are all of one width. The margins leave room for
either paper, so that A4 printed on letter loses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color, black
from reportlab.lib.enums import TA_LEFT, TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from tracker.errors import Refused
from tracker.papers.pen import BOLD, MM, PLAIN, SMALL_PT, Target, printable

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
SIDE_MM, TOP_MM, BOTTOM_MM, FOOT_MM = 20.0, 16.0, 22.0, 15.0
BODY_PT, HEAD_PT, TITLE_PT = 8.5, 10.5, 16.0
DASH = "–"
GREY = Color(0.6, 0.6, 0.6)
# A row that is kept whole must not be taller than a page, so a text that would fill one is cut and says so.
MOST_LETTERS = 1000
CUT = " ... (cut here; the record has it all)"

# Signs that formulas and names use and the built-in fonts lack.
_SPELLED = str.maketrans(
    {
        "≤": "<=",
        "≥": ">=",
        "≠": "not equal to",
        "−": "-",
        "\u2010": "-",
        "\u2011": "-",
        "→": "to",
        "≈": "about",
    }
)


def plain(words: object) -> str:
    """Words as the built-in fonts can print them; a dash for nothing."""
    text = "".join(letter if letter >= " " else " " for letter in str(DASH if words is None else words))
    text = printable(text.translate(_SPELLED)).strip() or DASH
    return text if len(text) <= MOST_LETTERS else text[: MOST_LETTERS - len(CUT)] + CUT


def cell(
    words: object, *, size: float = BODY_PT, bold: bool = False, right: bool = False, lead: str = ""
) -> Paragraph:
    """Words that wrap to their place; a dash for None or nothing. lead comes before them in bold."""
    text = escape(plain(words))
    if lead:
        text = f"<b>{escape(plain(lead))}</b> {text}"
    return Paragraph(text, style(size, bold, right))


def stacked(*parts: Paragraph | None) -> list[Paragraph]:
    """Paragraphs one under the other in a cell, leaving out what is None."""
    return [part for part in parts if part is not None]


def style(size: float = BODY_PT, bold: bool = False, right: bool = False) -> ParagraphStyle:
    """The one style of text, by size in points, weight and side."""
    return ParagraphStyle(
        "words",
        fontName=BOLD if bold else PLAIN,
        fontSize=size,
        leading=size * 1.25,
        alignment=TA_RIGHT if right else TA_LEFT,
        textColor=black,
    )


def heading(words: str, following_mm: float = 30.0) -> list[Flowable]:
    """A heading that is not left alone at the foot of a page."""
    return [
        CondPageBreak(following_mm * MM),
        Spacer(0, 4 * MM),
        cell(words, size=HEAD_PT, bold=True),
        Spacer(0, 1.2 * MM),
    ]


def pairs(rows: Sequence[tuple[str, Any]], width_mm: float, label_mm: float = 24.0) -> Table:
    """Names with what they are, one pair to a line; what they are may be a list of paragraphs."""
    table = Table(
        [[cell(name), said if isinstance(said, list) else cell(said, bold=True)] for name, said in rows],
        colWidths=[label_mm * MM, (width_mm - label_mm) * MM],
        hAlign="LEFT",
    )
    table.setStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *_tight(0.3)])
    return table


def ruled(
    header: Sequence[str],
    groups: Sequence[Sequence[Sequence[Any]]],
    widths_mm: Sequence[float],
    right: Sequence[int] = (),
    more: Sequence[tuple[Any, ...]] = (),
) -> Table:
    """A table with thin rules whose header comes again on each page.

    groups: rows that must not part, for instance a value and its caution; a row of one cell runs across the
    table. right: columns of figures. more: further style commands of reportlab.
    """
    rows: list[list[Any]] = [
        [
            cell(name, size=SMALL_PT, bold=True, right=at in right) if name else ""
            for at, name in enumerate(header)
        ]
    ]
    commands: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
        ("VALIGN", (0, 1), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, 0), 0.6, black),
        *_tight(0.7),
        *(("RIGHTPADDING", (at, 0), (at, -1), 4 * MM) for at in right if at + 1 < len(header)),
    ]
    for group in groups:
        first = len(rows)
        for row in group:
            if len(row) == 1:
                commands.append(("SPAN", (0, len(rows)), (-1, len(rows))))
                row = [*row, *[""] * (len(header) - 1)]
            rows.append([_set(said, at in right) for at, said in enumerate(row)])
        commands.append(("LINEBELOW", (0, len(rows) - 1), (-1, len(rows) - 1), 0.25, GREY))
        if len(rows) - first > 1:
            commands.append(("NOSPLIT", (0, first), (-1, len(rows) - 1)))
    table = Table(rows, colWidths=[width * MM for width in widths_mm], repeatRows=1, hAlign="LEFT")
    table.setStyle([*commands, *more])
    return table


def _set(said: Any, right: bool) -> Any:
    """A cell's content: paragraphs as they are, an empty text left empty, other values as words."""
    return said if isinstance(said, (list, Flowable)) or said == "" else cell(said, right=right)


def _tight(above_mm: float) -> list[tuple[Any, ...]]:
    everywhere = ((0, 0), (-1, -1))
    return [
        ("LEFTPADDING", *everywhere, 0),
        ("RIGHTPADDING", *everywhere, 2 * MM),
        ("TOPPADDING", *everywhere, above_mm * MM),
        ("BOTTOMPADDING", *everywhere, above_mm * MM),
    ]


def inner_mm(paper: str) -> float:
    """The width between the margins. Raises Refused `unknown-paper`."""
    return _size(paper)[0] - 2 * SIDE_MM


def write_flow(file: Target, story: list[Flowable], *, title: str, foot: str, paper: str = "a4") -> int:
    """Write the pages, each with foot and "page x of y" below, and return how many.

    The same story gives the same bytes. Raises Refused `unknown-paper` before anything is written.
    """
    width, height = _size(paper)
    document = BaseDocTemplate(
        file if hasattr(file, "write") else str(file),
        pagesize=(width * MM, height * MM),
        title=plain(title),
        author="",
        lang="en-US",
        invariant=1,
    )
    frame = Frame(
        SIDE_MM * MM,
        BOTTOM_MM * MM,
        (width - 2 * SIDE_MM) * MM,
        (height - TOP_MM - BOTTOM_MM) * MM,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    document.addPageTemplates(PageTemplate(frames=[frame]))
    document.build(story, canvasmaker=_footed(plain(foot), width))
    return int(document.page)


def _size(paper: str) -> tuple[float, float]:
    if paper not in PAPERS:
        raise Refused(
            "unknown-paper",
            f"{paper!r} is not a paper for this.",
            field="paper",
            remedy=f"Choose one of: {', '.join(PAPERS)}.",
        )
    return PAPERS[paper]


def _footed(foot: str, width: float) -> type[Canvas]:
    """A canvas that holds its pages back until it knows how many there are."""

    class Footed(Canvas):
        def __init__(self, *args: Any, **options: Any) -> None:
            super().__init__(*args, **options)
            self._held: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._held.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            held = self._held
            for number, page in enumerate(held, start=1):
                self.__dict__.update(page)
                self.setFont(PLAIN, SMALL_PT)
                self.drawString(SIDE_MM * MM, FOOT_MM * MM, foot)
                self.drawRightString((width - SIDE_MM) * MM, FOOT_MM * MM, f"page {number} of {len(held)}")
                super().showPage()
            super().save()

    return Footed
