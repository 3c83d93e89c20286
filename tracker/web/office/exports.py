"""Every number out the door: tables as CSV or workbook, the fields as a map, a season whole."""

from __future__ import annotations

from flask import Response, render_template, request

from tracker.domain.units import whole
from tracker.lookups.exports import TABLES
from tracker.lookups.seasons import seasons
from tracker.web.office.door import door
from tracker.web.shared.access import LEAD, for_roles
from tracker.web.shared.season import reading
from tracker.web.shared.taken_away import fields_as_map, season_whole, table_as_csv, table_as_workbook


@door.get("/exports")
@for_roles(*LEAD)
def exports() -> str:
    """What can be taken away, and of which season."""
    with reading() as session:
        years = seasons(session)
    return render_template("exports.html", tables=TABLES.values(), seasons=years, season=_season())


@door.get("/exports/<name>.csv")
@for_roles(*LEAD)
def table_csv(name: str) -> Response:
    """One table, as it is read."""
    return table_as_csv(name, _season())


@door.get("/exports/<name>.xlsx")
@for_roles(*LEAD)
def table_xlsx(name: str) -> Response:
    """One table as a workbook."""
    return table_as_workbook(name, _season())


@door.get("/exports/fields.geojson")
@for_roles(*LEAD)
def fields_map() -> Response:
    """The fields whose place is known."""
    return fields_as_map(_season())


@door.get("/exports/season.zip")
@for_roles(*LEAD)
def season_archive() -> Response:
    """A season whole, or every season."""
    return season_whole(_season())


def _season() -> int | None:
    text = request.args.get("season", "")
    return whole(text, field="season", least=1900) if text else None
