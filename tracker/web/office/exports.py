"""Every number out the door: tables as CSV or workbook, the fields as a map, a season whole."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from typing import IO, Any

from flask import Response, render_template, request, send_file, stream_with_context

from tracker.domain.units import whole
from tracker.files import geojson
from tracker.files.out import MEDIA_TYPE, WORKBOOK, csv_lines, write_xlsx
from tracker.lookups.exports import TABLES, table_named
from tracker.lookups.exports.archive import map_of_fields, write_archive
from tracker.lookups.seasons import seasons
from tracker.web.office.door import door
from tracker.web.shared.access import LEAD, for_roles
from tracker.web.shared.season import now, reading

# A file that is not larger stays in memory, a larger one lies on the disk until it is sent.
IN_MEMORY = 1024 * 1024


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
    table, season = table_named(name), _season()
    return _streamed(
        lambda session: csv_lines(table.lines(session, season)), MEDIA_TYPE, _named(name, season, "csv")
    )


@door.get("/exports/<name>.xlsx")
@for_roles(*LEAD)
def table_xlsx(name: str) -> Response:
    """One table as a workbook."""
    table, season = table_named(name), _season()
    file = _file()
    with reading() as session:
        write_xlsx({table.name: table.lines(session, season)}, file)
    return _sent(file, WORKBOOK, _named(name, season, "xlsx"))


@door.get("/exports/fields.geojson")
@for_roles(*LEAD)
def fields_map() -> Response:
    """The fields whose place is known."""
    season = _season()
    return _streamed(
        lambda session: map_of_fields(session, season),
        geojson.MEDIA_TYPE,
        _named("fields", season, "geojson"),
    )


@door.get("/exports/season.zip")
@for_roles(*LEAD)
def season_archive() -> Response:
    """A season whole, or every season."""
    season, file = _season(), _file()
    with reading() as session:
        write_archive(session, season, now(), file)
    return _sent(file, "application/zip", _named("season", season, "zip"))


def _season() -> int | None:
    text = request.args.get("season", "")
    return whole(text, field="season", least=1900) if text else None


def _named(name: str, season: int | None, kind: str) -> str:
    return f"{name}-{season}.{kind}" if season else f"{name}.{kind}"


def _streamed(parts: Any, media_type: str, name: str) -> Response:
    def told() -> Iterator[bytes]:
        with ExitStack() as stack:
            yield from parts(stack.enter_context(reading()))

    answer = Response(stream_with_context(told()), content_type=media_type)
    answer.headers.set("Content-Disposition", "attachment", filename=name)
    return answer


def _file() -> IO[bytes]:
    return tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)


def _sent(file: IO[bytes], media_type: str, name: str) -> Response:
    file.seek(0)
    answer = send_file(file, mimetype=media_type, as_attachment=True, download_name=name)
    # Files sent so would be kept by whatever lies between, and names and telephones are in this one.
    answer.headers["Cache-Control"] = "no-store"
    return answer
