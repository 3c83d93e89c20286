"""Results: files that come in, rows that wait for a person, analyses, release, and reports as issued."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validate

from tracker.lookups.analyses import AnalysisLine, SampleAnalysis, analyses_of, analyses_page
from tracker.lookups.check_charts import Chart, charts
from tracker.lookups.exports.hay import results_page
from tracker.lookups.find import sample_ever_named, sample_named
from tracker.lookups.issued_reports import issued_report, report_numbered
from tracker.lookups.kept_refusals import parked_page
from tracker.lookups.lot_report import report_body
from tracker.lookups.page import Page
from tracker.lookups.result_files import FileLine, result_files_page
from tracker.papers.lot_report import lot_report
from tracker.steps.answer_parked import set_aside, take_in
from tracker.steps.choose_analysis import choose_analysis
from tracker.steps.preview_results import preview_results
from tracker.steps.record_results import LineTold, Taken, record_results
from tracker.steps.release_results import release_results
from tracker.web.api.asking import Paged
from tracker.web.api.custody import on_sample
from tracker.web.api.door import today
from tracker.web.api.entry import PDF, Doing, act, listing, question, short_list
from tracker.web.api.fields import PLAIN, Moment, Strict, shape_of, text, whole, yes_no
from tracker.web.api.shapes import Stands
from tracker.web.api.uploads import Table, bytes_in
from tracker.web.shared.access import BENCH
from tracker.web.shared.season import settings

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class File(Table):
    """A file of results."""

    source = text("the source it comes from, whose column map reads it", most=60)


class Previewed(Schema):
    """What would become of the file, and of each line that was looked at."""

    taken = fields.Nested(shape_of(Taken), required=True)
    lines = fields.List(fields.Nested(shape_of(LineTold)), required=True)


class ParkedRow(Schema):
    """A row that could not go in, and why; answer: what somebody decided, null while it waits."""

    id = fields.Integer(required=True)
    file = fields.String(required=True)
    line = fields.Integer(required=True)
    sample_text = fields.String(required=True)
    cells = fields.List(fields.String(allow_none=True), required=True)
    problems = fields.List(fields.Dict(), required=True)
    suggestions = fields.List(fields.String(), required=True)
    answer = fields.String(required=True, allow_none=True)


class Repaired(Doing):
    """The bag that a parked row belongs to, and corrected cells."""

    code = text("the code of the bag that the row belongs to", most=20)
    corrected = fields.Dict(
        keys=fields.String(validate=validate.Regexp(PLAIN)),
        values=fields.String(validate=[validate.Length(max=200), validate.Regexp(PLAIN)]),
        metadata={"description": "corrected cells by their headers"},
    )
    reason = text("why")


class Aside(Doing):
    """Why a row is not taken in."""

    reason = text("why")


class Decided(Schema):
    """What became of a parked row; analysis: its number, null where it was set aside."""

    row = fields.Integer(required=True)
    analysis = fields.Integer(required=True, allow_none=True)


class Chosen(Doing):
    """The analysis that stands."""

    analysis = whole("its number in the list of analyses", least=1)
    reason = text("why this one stands")


class Released(Doing):
    """What the report is issued with."""

    reason = text("why there is another version; empty for the first", needed=False)
    interpretation = yes_no("with advice on feeding; yes unless said")


class Issued(Schema):
    """A report was issued."""

    number = fields.String(required=True)
    version = fields.Integer(required=True)


class Report(Schema):
    """A report as it was issued; body as docs/report.md describes it, each value with unit, basis and margin."""

    number = fields.String(required=True)
    version = fields.Integer(required=True)
    issued_at = Moment(required=True)
    body = fields.Dict(required=True)


class Version(Strict):
    """Which version of a report."""

    version = whole("which version; else the latest", needed=False, least=1)


class SeasonPage(Paged):
    """Which season, and which page."""

    season = whole("the year of harvest; else every year", needed=False, least=1900, most=9999)


class Result(Schema):
    """One released value. value and as_received: in the unit named, as text; margin: ± at 95 %, or null."""

    sample = fields.Integer(required=True)
    lot = fields.Integer(required=True)
    code = fields.String(required=True, allow_none=True)
    report = fields.String(required=True)
    constituent = fields.String(required=True)
    name = fields.String(required=True)
    unit = fields.String(required=True)
    value = fields.String(required=True, allow_none=True)
    margin = fields.String(required=True, allow_none=True)
    as_received = fields.String(required=True, allow_none=True)
    qualifier = fields.String(required=True, allow_none=True)
    method = fields.String(required=True, allow_none=True)
    calibration = fields.String(required=True, allow_none=True)
    source = fields.String(required=True, allow_none=True)
    scanned_at = fields.String(required=True, allow_none=True)
    formula = fields.String(required=True, allow_none=True)


def _results(session: Session, season: int | None = None, **page: Any) -> Page[dict[str, Any]]:
    found = results_page(session, season, **page)
    items = [{name: _cell(cell) for name, cell in line.items()} for line in found.items]
    return Page(tuple(items), found.next)


def _cell(value: object) -> object:
    """A cell as JSON has it: digits stay text."""
    if isinstance(value, datetime):
        return value.isoformat()
    return value if value is None or isinstance(value, (int, str)) else str(value)


def _preview(
    session: Session, act: Act, source: str, name: str, content: str, sheet: str = ""
) -> dict[str, Any]:
    found = preview_results(session, source, name, bytes_in(content), act, sheet=sheet or None)
    return {"taken": found.taken, "lines": found.lines}


def _take_in_file(session: Session, act: Act, source: str, name: str, content: str, sheet: str = "") -> Taken:
    return record_results(session, source, name, bytes_in(content), act, sheet=sheet or None)


def _take_in(session: Session, act: Act, row: int, code: str, reason: str, **given: Any) -> dict[str, Any]:
    return {"row": row, "analysis": take_in(session, row, code, act, reason=reason, **given).id}


def _set_aside(session: Session, act: Act, row: int, reason: str) -> dict[str, Any]:
    set_aside(session, row, act, reason=reason)
    return {"row": row, "analysis": None}


def _release(
    session: Session, act: Act, sample: str, reason: str = "", interpretation: bool = True
) -> dict[str, Any]:
    found = sample_named(session, sample)
    body = report_body(session, found, settings(), on=today())
    row = release_results(session, found, body, act, reason=reason, interpretation=interpretation)
    return {"number": row.number, "version": row.version}


def _report(session: Session, sample: str, version: int | None = None) -> Any:
    return issued_report(session, sample_ever_named(session, sample).id, version)


def _paper(session: Session, number: str) -> bytes:
    issued = report_numbered(session, number)
    file = BytesIO()
    lot_report(file, issued.body, issued.proof)
    return file.getvalue()


listing(
    "result-files",
    "/result-files",
    "The files that came in, the oldest first.",
    result_files_page,
    shape_of(FileLine),
    roles=BENCH,
)
act(
    "preview-results",
    "/result-files/preview",
    "What would become of each line of a file. Nothing is kept.",
    "lab",
    _preview,
    Previewed,
    given=File,
    roles=BENCH,
    tries=True,
)
act(
    "take-in-results",
    "/result-files",
    "Take in a file of results.",
    "lab",
    _take_in_file,
    shape_of(Taken),
    given=File,
    roles=BENCH,
    status=201,
)
listing(
    "parked",
    "/parked-rows",
    "Rows that wait for a person.",
    parked_page,
    ParkedRow,
    roles=BENCH,
)
act(
    "take-in-row",
    "/parked-rows/<int:row>/take-in",
    "Take in a parked row.",
    "lab",
    _take_in,
    Decided,
    given=Repaired,
    roles=BENCH,
)
act(
    "set-aside-row",
    "/parked-rows/<int:row>/set-aside",
    "Decide that it is not taken in.",
    "lab",
    _set_aside,
    Decided,
    given=Aside,
    roles=BENCH,
)
short_list(
    "charts",
    "/check-charts",
    "The control chart of each constituent of each check sample.",
    charts,
    shape_of(Chart),
    key=lambda one: (one.source, one.check_name, one.constituent),
    roles=BENCH,
)
listing(
    "results",
    "/results",
    "Every released value, with unit, basis and margin: a line each, from the latest version of each report.",
    _results,
    Result,
    asked=SeasonPage,
    roles=BENCH,
)
listing(
    "all-analyses",
    "/analyses",
    "Every analysis by number, each value with unit, basis and method as its source gave it.",
    analyses_page,
    shape_of(SampleAnalysis),
    roles=BENCH,
)
short_list(
    "analyses",
    "/samples/<sample>/analyses",
    "A sample's analyses, each value with unit, basis and method.",
    lambda session, sample: analyses_of(session, sample_ever_named(session, sample).id),
    shape_of(AnalysisLine),
    key=lambda one: (one.id,),
    roles=BENCH,
)
act(
    "choose-analysis",
    "/samples/<sample>/analyses/choose",
    "Say which of several analyses stands.",
    "lab",
    on_sample(choose_analysis, "analysis"),
    Stands,
    given=Chosen,
    roles=BENCH,
)
act(
    "release",
    "/samples/<sample>/reports",
    "Issue the report, or its next version.",
    "release",
    _release,
    Issued,
    given=Released,
    roles=BENCH,
    status=201,
)
question("report-of", "/samples/<sample>/report", "The report of a sample.", _report, Report, asked=Version)
question(
    "report",
    "/reports/<number>",
    "A report by its number.",
    lambda session, number: report_numbered(session, number),
    Report,
)
question("report-pdf", "/reports/<number>/pdf", "The same report as paper.", _paper, None, media=PDF)
