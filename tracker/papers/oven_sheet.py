"""The sheet that hangs at the oven: which sack stands where, its weights, and when it comes out."""

from __future__ import annotations

from reportlab.lib.colors import black
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from tracker.domain.grinding import SAFETY
from tracker.domain.times import said
from tracker.lookups.oven_load import Load, Sack
from tracker.papers.flow import TITLE_PT, cell, heading, inner_mm, pairs, ruled, write_flow
from tracker.papers.pen import MM, Target

CODE_PT, ROW_MM = 16.0, 11.0
COLUMNS = ("Place", "Tag", "Lot", "Tare g", "Fresh g", "Dry g")
WIDTHS_MM = (14.0, 58.0, 17.0, 27.0, 27.0, 27.0)
SIGNED = (("In by", "Date and time"), ("Out by", "Date and time"), ("Dry weighed by", "Balance"))


def oven_sheet(file: Target, load: Load, paper: str = "a4") -> int:
    """Write the sheet and return how many pages it has. paper: a4 or letter.

    Weights that are known are printed, the others left to be written in. Raises Refused `unknown-paper`.
    """
    story: list[Flowable] = [cell(f"Oven load {load.name}", size=TITLE_PT, bold=True), Spacer(0, 4 * MM)]
    story.append(pairs(_facts(load), inner_mm(paper)))
    story += [Spacer(0, 3 * MM), *(cell(finding.words) for finding in SAFETY["oven"]), Spacer(0, 4 * MM)]
    story.append(_sacks(load))
    story.append(_signatures(inner_mm(paper)))
    return write_flow(file, story, title=f"Oven load {load.name}", foot=f"Oven load {load.name}", paper=paper)


def _facts(load: Load) -> list[tuple[str, str]]:
    count = len(load.sacks)
    facts = [
        ("Oven", f"{load.oven}, set to {load.set_celsius} °C"),
        ("Sacks", f"{count} sack" if count == 1 else f"{count} sacks"),
        ("In", said(load.in_at)),
    ]
    if load.due_at:
        facts.append(("Due out", f"not before {said(load.due_at)}"))
    if load.out_at:
        facts.append(("Out", said(load.out_at)))
    return facts


def _sacks(load: Load) -> Table:
    rows = [[_row(sack)] for sack in sorted(load.sacks, key=lambda sack: sack.position)]
    body = ((0, 1), (-1, -1))
    more = [
        ("VALIGN", *body, "MIDDLE"),
        ("LINEAFTER", (2, 1), (-1, -1), 0.25, black),
        ("LINEBELOW", *body, 0.25, black),
        ("TOPPADDING", *body, (ROW_MM - CODE_PT * 1.25 / MM) / 2 * MM),
        ("BOTTOMPADDING", *body, (ROW_MM - CODE_PT * 1.25 / MM) / 2 * MM),
    ]
    return ruled(COLUMNS, rows, WIDTHS_MM, right=(3, 4, 5), more=more if rows else ())


def _row(sack: Sack) -> list[object]:
    weights = [
        "" if grams is None else cell(grams, size=11, right=True)
        for grams in (sack.tare, sack.fresh, sack.dry)
    ]
    code = cell(sack.code, size=CODE_PT, bold=True)
    return [cell(sack.position, size=CODE_PT), code, cell(sack.lot, size=11), *weights]


def _signatures(width_mm: float) -> Flowable:
    labels_mm, half = 26.0, width_mm / 2
    table = Table(
        [[cell(left), "", cell(right), ""] for left, right in SIGNED],
        colWidths=[part * MM for part in (labels_mm, half - labels_mm - 4, labels_mm, half - labels_mm + 4)],
        rowHeights=10 * MM,
        hAlign="LEFT",
    )
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            *(("LINEBELOW", (at, 0), (at, -1), 0.4, black) for at in (1, 3)),
            ("LEFTPADDING", (2, 0), (2, -1), 4 * MM),
        ]
    )
    return KeepTogether([*heading("Signed", 0), table])
