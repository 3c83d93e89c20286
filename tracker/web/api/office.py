"""The programme: its figures and the list behind each, what was refused, and where the tables are to be had."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.files.out import MEDIA_TYPE, csv_lines
from tracker.lookups.exports import TABLES, table_named
from tracker.lookups.kept_refusals import refusals_page
from tracker.lookups.programme import behind, programme
from tracker.lookups.seasons import seasons
from tracker.web.api.entry import listing, question, short_list
from tracker.web.api.fields import Digits, Moment, Strict, whole
from tracker.web.shared.access import LEAD
from tracker.web.shared.season import now

if TYPE_CHECKING:
    from sqlalchemy.orm import Session


class Season(Strict):
    """Which season."""

    season = whole("the year of harvest; else the latest", needed=False, least=1900, most=9999)


class Figure(Schema):
    """One figure. key opens the list behind it; parts: how many wait how long."""

    key = fields.String(required=True)
    name = fields.String(required=True)
    value = Digits(required=True, allow_none=True)
    unit = fields.String(required=True)
    words = fields.String(required=True)
    parts = fields.List(fields.Integer(), required=True)


class Part(Schema):
    """The figures of one part of the programme."""

    name = fields.String(required=True)
    figures = fields.List(fields.Nested(Figure), required=True)


class Programme(Schema):
    """Every figure of a season."""

    season = fields.Integer(required=True)
    parts = fields.List(fields.Nested(Part), required=True)


class Listing(Schema):
    """The list that a figure was counted from; more: rows that are not shown."""

    name = fields.String(required=True)
    words = fields.String(required=True)
    heading = fields.List(fields.String(), required=True)
    rows = fields.List(fields.List(fields.String(allow_none=True)), required=True)
    more = fields.Integer(required=True)


class Refusal(Schema):
    """Something asked and refused, with the values as given."""

    id = fields.Integer(required=True)
    at = Moment(required=True)
    act = fields.String(required=True)
    by = fields.String(required=True)
    given = fields.Raw(required=True)
    code = fields.String(required=True)
    message = fields.String(required=True)
    remedy = fields.String(required=True)
    field = fields.String(required=True, allow_none=True)
    line = fields.Integer(required=True, allow_none=True)


class Export(Schema):
    """A table that can be taken away whole; href: its address here, as CSV (RFC 4180)."""

    name = fields.String(required=True)
    href = fields.String(required=True)


def _season(session: Session, season: int | None) -> int:
    years = seasons(session)
    return season or (years[0] if years else now().year)


def _programme(session: Session, season: int | None = None) -> dict[str, Any]:
    year = _season(session, season)
    return {"season": year, "parts": programme(session, year, now())}


def _behind(session: Session, figure: str, season: int | None = None) -> dict[str, Any]:
    found = behind(session, figure, _season(session, season), now())
    rows = [[None if cell is None else str(cell) for cell in row] for row in found.rows]
    return {
        "name": found.name,
        "words": found.words,
        "heading": found.heading,
        "rows": rows,
        "more": found.more,
    }


def _exports(session: Session) -> list[dict[str, str]]:
    return [{"name": name, "href": f"/api/v1/exports/{name}"} for name in TABLES]


def _export(session: Session, table: str, season: int | None = None) -> bytes:
    file = BytesIO()
    for part in csv_lines(table_named(table).lines(session, season)):
        file.write(part)
    return file.getvalue()


question(
    "programme", "/programme", "Every figure of a season.", _programme, Programme, asked=Season, roles=LEAD
)
question(
    "figure", "/programme/<figure>", "The list behind a figure.", _behind, Listing, asked=Season, roles=LEAD
)
listing(
    "refusals",
    "/refusals",
    "What was refused, the oldest first, with the values as they were given.",
    refusals_page,
    Refusal,
    roles=LEAD,
)
short_list(
    "exports",
    "/exports",
    "The tables that can be taken away.",
    _exports,
    Export,
    key=lambda one: (one["name"],),
    roles=LEAD,
)
question(
    "export",
    "/exports/<table>",
    "One table as CSV.",
    _export,
    None,
    asked=Season,
    roles=LEAD,
    media=MEDIA_TYPE,
)
