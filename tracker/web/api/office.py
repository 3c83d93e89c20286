"""The programme: its figures and the list behind each, what was refused, and where the tables are to be had."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.files import geojson
from tracker.files.out import MEDIA_TYPE, WORKBOOK
from tracker.lookups.exports import TABLES
from tracker.lookups.kept_refusals import refusals_page
from tracker.lookups.page import Page
from tracker.lookups.phones import Phone, phones
from tracker.lookups.programme import behind, programme
from tracker.lookups.retention import Kept, Rest, kept, rests_page
from tracker.lookups.seasons import seasons
from tracker.web.api.asking import Paged
from tracker.web.api.entry import ZIP, file, listing, question, short_list
from tracker.web.api.fields import Digits, Moment, Strict, shape_of, whole
from tracker.web.shared.access import LEAD
from tracker.web.shared.season import now
from tracker.web.shared.taken_away import fields_as_map, season_whole, table_as_csv, table_as_workbook

if TYPE_CHECKING:
    from flask import Response
    from sqlalchemy.orm import Session


class Season(Strict):
    """Which season."""

    season = whole("the year of harvest; else the latest", needed=False, least=1900, most=9999)


class SeasonPaged(Paged):
    """Which season, and which page of the list."""

    season = whole("the year of harvest; else the latest", needed=False, least=1900, most=9999)


class SeasonAsked(Strict):
    """Which season, or every one."""

    season = whole("the year of harvest; else every year", needed=False, least=1900, most=9999)


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


class ListHead(Schema):
    """The list that a figure was counted from; heading: what stands over the cells of each row."""

    name = fields.String(required=True)
    words = fields.String(required=True)
    heading = fields.List(fields.String(), required=True)


class Row(Schema):
    """One row of it."""

    cells = fields.List(fields.String(allow_none=True), required=True)


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
    """A table that can be taken away whole; csv (RFC 4180) and workbook: its addresses here."""

    name = fields.String(required=True)
    words = fields.String(required=True)
    csv = fields.String(required=True)
    workbook = fields.String(required=True)


def _season(session: Session, season: int | None) -> int:
    years = seasons(session)
    return season or (years[0] if years else now().year)


def _programme(session: Session, season: int | None = None) -> dict[str, Any]:
    year = _season(session, season)
    return {"season": year, "parts": programme(session, year, now())}


@dataclass(frozen=True)
class _Rows(Page[dict[str, Any]]):
    """A page of rows under its heading."""

    name: str = ""
    words: str = ""
    heading: tuple[str, ...] = ()


def _behind(session: Session, figure: str, season: int | None = None, **page: Any) -> _Rows:
    found = behind(session, figure, _season(session, season), now(), **page)
    rows = ({"cells": [None if cell is None else str(cell) for cell in row]} for row in found.rows)
    return _Rows(tuple(rows), found.next, found.name, found.words, found.heading)


def _exports(session: Session) -> list[dict[str, str]]:
    here = "/api/v1/exports"
    return [
        {"name": name, "words": one.words, "csv": f"{here}/{name}.csv", "workbook": f"{here}/{name}.xlsx"}
        for name, one in TABLES.items()
    ]


# The season is a matter of the query, and there may be none.
def _table(send: Callable[..., Response]) -> Callable[..., Response]:
    return lambda table, season=None: send(table, season)


def _season_of(send: Callable[..., Response]) -> Callable[..., Response]:
    return lambda season=None: send(season)


question(
    "programme", "/programme", "Every figure of a season.", _programme, Programme, asked=Season, roles=LEAD
)
listing(
    "figure",
    "/programme/<figure>",
    "The list behind a figure.",
    _behind,
    Row,
    head=ListHead,
    asked=SeasonPaged,
    roles=LEAD,
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
for _name, _path, _words, _send, _media in (
    ("export", "<table>.csv", "One table as CSV.", _table(table_as_csv), MEDIA_TYPE),
    ("export-workbook", "<table>.xlsx", "One table as a workbook.", _table(table_as_workbook), WORKBOOK),
    ("export-map", "fields.geojson", "The fields as a map.", _season_of(fields_as_map), geojson.MEDIA_TYPE),
    ("export-season", "season.zip", "A season whole.", _season_of(season_whole), ZIP),
):
    file(_name, f"/exports/{_path}", _words, _send, _media, asked=SeasonAsked, roles=LEAD)
short_list(
    "phones",
    "/phones",
    "The phones of the field: when each was last heard of, what never came, and whose clock is wrong.",
    lambda session: phones(session),
    shape_of(Phone),
    key=lambda one: (one.device,),
    roles=LEAD,
)
short_list(
    "retention",
    "/retention",
    "What has been kept long enough, kind by kind.",
    lambda session: kept(session, now()),
    shape_of(Kept),
    key=lambda one: (one.name,),
    roles=LEAD,
)
listing(
    "rests",
    "/retention/rests",
    "The ground hay that is to be thrown away, the longest kept first.",
    lambda session, **page: rests_page(session, now(), **page),
    shape_of(Rest),
    roles=LEAD,
)
