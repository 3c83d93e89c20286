"""What the producer takes away: one page to print, the whole report, and the numbers as a table."""

from __future__ import annotations

import io

from flask import Response, request

from tracker.errors import NotFound
from tracker.files.out import MEDIA_TYPE, write_csv
from tracker.lookups.hay_advice import advice_on
from tracker.lookups.hay_page import HayPage, hay_page
from tracker.lookups.issued_reports import report_numbered
from tracker.lookups.readers import Reader
from tracker.papers.hay_sheet import hay_sheet
from tracker.papers.lot_report import lot_report
from tracker.web.producer.animals import chosen
from tracker.web.producer.door import door, let_in
from tracker.web.producer.hay import chosen_lot, today
from tracker.web.shared.access import EVERYONE, for_roles
from tracker.web.shared.season import now, reading, settings

HEADER = (
    "code",
    "name",
    "value",
    "margin (95 %)",
    "unit",
    "basis",
    "as it is",
    "measured or worked out",
    "by",
    "changed",
    "caution",
)


@door.get("/T/<token:stub>/hay.pdf")
@for_roles(*EVERYONE)
@let_in("pdf")
def sheet(reader: Reader, stub: str) -> Response:
    """One page with the answer for the animals chosen."""
    with reading() as session:
        shown = _shown(session, reader)
        choice = chosen(request.args, session, shown.producer, today())
        advice, _ = advice_on(session, shown.report, choice.animals)
    file, told = io.BytesIO(), settings()
    hay_sheet(file, shown, advice, told.programme, told.phone)
    return _paper(file.getvalue(), "application/pdf", f"hay-lot-{shown.lot}.pdf")


@door.get("/T/<token:stub>/report.pdf")
@for_roles(*EVERYONE)
@let_in("pdf")
def whole_report(reader: Reader, stub: str) -> Response:
    """The report as it was issued."""
    with reading() as session:
        shown = _shown(session, reader)
        assert shown.report is not None
        issued = report_numbered(session, shown.report.number)
    file = io.BytesIO()
    lot_report(file, issued.body, issued.proof)
    return _paper(file.getvalue(), "application/pdf", f"{issued.number}.pdf")


@door.get("/T/<token:stub>/hay.csv")
@for_roles(*EVERYONE)
@let_in("csv")
def numbers(reader: Reader, stub: str) -> Response:
    """Every figure of the report as a table."""
    with reading() as session:
        shown = _shown(session, reader)
    assert shown.report is not None
    rows = [
        (
            one.code,
            one.name,
            one.value,
            one.margin,
            one.unit,
            one.basis,
            one.wet,
            "measured" if one.measured else "worked out",
            one.source,
            "yes" if one.changed else "",
            " ".join(one.cautions),
        )
        for one in shown.numbers
    ]
    about = (("report", shown.report.number), ("lot", str(shown.lot)), ("hay", shown.title))
    head = [(name, said, *[""] * (len(HEADER) - 2)) for name, said in about]
    return _paper(write_csv([HEADER, *rows, *head], mark=True), MEDIA_TYPE, f"hay-lot-{shown.lot}.csv")


def _shown(session: object, reader: Reader) -> HayPage:
    """The lot with its report. Raises NotFound `no-report`."""
    lot = chosen_lot(reader)
    shown = hay_page(session, lot, now()) if lot is not None else None  # type: ignore[arg-type]
    if shown is None or shown.report is None:
        raise NotFound(
            "no-report", "There is no report of this hay yet.", field="lot", remedy="Look again later."
        )
    return shown


def _paper(content: bytes, kind: str, name: str) -> Response:
    answer = Response(content, content_type=kind)
    answer.headers.set("Content-Disposition", "attachment" if kind == MEDIA_TYPE else "inline", filename=name)
    return answer
