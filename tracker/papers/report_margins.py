"""Where the report's margins come from: for each value what has which share of its variance."""

from __future__ import annotations

from typing import Any

from reportlab.platypus import Flowable, Spacer

from tracker.papers.flow import cell, heading, ruled
from tracker.papers.pen import MM, SMALL_PT
from tracker.papers.report_said import Body, figure, part, rows, words_of

# The kinds of error in the order of the way, with the words that head their columns.
KINDS = (
    ("between bales", "Bales"),
    ("between cores", "Cores"),
    ("laboratory", "Laboratory"),
    ("calibration", "Calibration"),
    ("weighing", "Weighing"),
)


def margins(body: Body) -> list[Flowable]:
    """The shares in a table, and the sentences that hold for all; nothing for a report that has no such part."""
    said = part(body, "margins")
    found = rows(said, "rows")
    words = [cell(words_of(sentence), size=SMALL_PT) for sentence in rows(said, "words")]
    if not found:
        return [*heading("Margins", 15), *words] if words else []
    header = ("Margin of", "±", *(name for _, name in KINDS), "SDs from")
    table = ruled(
        header, [[_row(row)] for row in found], (36, 13, 14, 14, 21, 21, 18, 33), right=(1, 2, 3, 4, 5, 6)
    )
    note = (
        "What each source has of the variance, in %: of the value on dry matter; of dry matter, as received."
    )
    return [*heading("Margins", 40), cell(note, size=SMALL_PT), table, Spacer(0, 1.5 * MM), *words]


def _row(row: Body) -> list[Any]:
    shares = part(row, "shares")
    return [
        cell(row.get("name") or row["code"]),
        figure(row.get("half_width")),
        *(figure(shares.get(kind)) for kind, _ in KINDS),
        [cell(line, size=SMALL_PT) for line in _sources(row)],
    ]


def _sources(row: Body) -> list[str]:
    """The two sources in a line each, or in one where they are alike."""
    sampling, laboratory = (str(row.get(name) or "") for name in ("sampling", "laboratory"))
    if sampling == laboratory:
        return [sampling]
    return [f"sampling: {sampling}", f"laboratory: {laboratory}"]
