"""The sheet that goes along in case the phone does not: one row for each spare tag, to be typed in later.

The code of each row is also drawn, so that whoever types the sheet in can scan it from the paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.colors import black
from reportlab.platypus import Flowable, Spacer, Table

from labels import payload, qr
from tracker.domain.coring import SAFETY
from tracker.papers.flow import SMALL_PT, TITLE_PT, cell, inner_mm, ruled, write_flow
from tracker.papers.pen import MM, Target

# A thumb's height to write in; the symbol with its quiet zone fits beside the code.
ROW_MM, SYMBOL_MM, CODE_PT = 22.0, 19.0, 13.0
COLUMNS = (
    "",
    "Tag",
    "Producer, field, cutting; or lot",
    "Bales",
    "Cores",
    "Side or end",
    "Date, time",
    "Initials",
)
WIDTHS_MM = (22.0, 33.0, 38.0, 14.0, 13.0, 14.0, 22.0, 14.0)
HOW = (
    "One row for one bag. Close all cores of a lot in one bag, put the tag on it, and write the row at once, with "
    "the time as your watch shows it.",
    "Later, under From paper on the phone or at the desk: enter each row with the form's number and the time "
    "written here. The sheet is kept.",
)


@dataclass(frozen=True)
class SpareTag:
    """A tag on no bag yet. number: what it is called for counting, as it stands on the tag."""

    code: str
    number: str


def field_sheet(
    file: Target, form: str, tags: Sequence[SpareTag], *, base_url: str, carrier: str = "", paper: str = "a4"
) -> int:
    """Write the sheet and return how many pages it has. form: its number; carrier: who carries the tags.

    base_url: where the codes lead. Raises Refused `unknown-paper`, LabelError for an address that is none.
    """
    title = f"Field sheet, form {form}"
    story: list[Flowable] = [cell(title, size=TITLE_PT, bold=True), Spacer(0, 2 * MM)]
    if carrier:
        story.append(cell(f"For the tags that {carrier} carries."))
    story += [*(cell(words) for words in HOW), *(cell(words, size=SMALL_PT) for words in SAFETY[:1])]
    story += [Spacer(0, 3 * MM), _rows(tags, base_url, inner_mm(paper)), Spacer(0, 4 * MM)]
    story.append(_typed())
    return write_flow(file, story, title=title, foot=title, paper=paper)


def _rows(tags: Sequence[SpareTag], base_url: str, inner: float) -> Table:
    body = ((0, 1), (-1, -1))
    more = [
        ("VALIGN", *body, "MIDDLE"),
        ("LINEBEFORE", (2, 1), (-1, -1), 0.25, black),
        ("LINEBELOW", *body, 0.25, black),
        ("TOPPADDING", *body, (ROW_MM - SYMBOL_MM) / 2 * MM),
        ("BOTTOMPADDING", *body, (ROW_MM - SYMBOL_MM) / 2 * MM),
    ]
    share = inner / sum(WIDTHS_MM)
    rows = [[_row(tag, base_url)] for tag in tags]
    # The symbol keeps its size on every paper; only what is written in gives way.
    widths = [WIDTHS_MM[0], *(width * share for width in WIDTHS_MM[1:])]
    widths[2] += inner - sum(widths)
    return ruled(COLUMNS, rows, widths, more=more)


def _row(tag: SpareTag, base_url: str) -> list[object]:
    code = [cell(payload.shown(tag.code), size=CODE_PT, bold=True), cell(tag.number, size=SMALL_PT)]
    return [_Symbol(payload.url(base_url, tag.code)), code, *[""] * (len(COLUMNS) - 2)]


class _Symbol(Flowable):
    """The symbol of a text, SYMBOL_MM wide with its quiet zone of 4 modules (ISO/IEC 18004, 6.3.8)."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.grid = qr.matrix(text, "M")
        self.width = self.height = SYMBOL_MM * MM

    def draw(self) -> None:
        """Draw it; reportlab has set the origin to its lower left corner."""
        qr.draw(self.canv, self.grid, 0, SYMBOL_MM, SYMBOL_MM / (len(self.grid) + 2 * qr.QUIET))


def _typed() -> Table:
    table = Table(
        [[cell("Typed in by"), "", cell("Date and time"), ""]],
        colWidths=[part * MM for part in (22, 62, 26, 60)],
        rowHeights=10 * MM,
        hAlign="LEFT",
    )
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            *(("LINEBELOW", (at, 0), (at, 0), 0.4, black) for at in (1, 3)),
        ]
    )
    return table
