"""What is taken away whole: a table, the map, a season; sent as it is read, or gathered on the disk first."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from itertools import chain
from typing import IO, TYPE_CHECKING

from flask import Response, send_file, stream_with_context

from tracker.files import geojson
from tracker.files.out import MEDIA_TYPE, WORKBOOK, csv_lines, write_xlsx
from tracker.lookups.exports import table_named
from tracker.lookups.exports.archive import map_of_fields, write_archive
from tracker.web.shared.season import now, reading

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

ZIP = "application/zip"
# A file that is not larger stays in memory, a larger one lies on the disk until it is sent.
IN_MEMORY = 1024 * 1024


def table_as_csv(name: str, season: int | None) -> Response:
    """One table, as it is read. Raises NotFound `unknown-table`."""
    table = table_named(name)
    return _streamed(
        lambda session: csv_lines(table.lines(session, season)), MEDIA_TYPE, _named(name, season, "csv")
    )


def table_as_workbook(name: str, season: int | None) -> Response:
    """One table as a workbook. Raises NotFound `unknown-table`."""
    table = table_named(name)
    return _gathered(
        lambda session, file: write_xlsx({table.name: table.lines(session, season)}, file),
        WORKBOOK,
        _named(name, season, "xlsx"),
    )


def fields_as_map(season: int | None) -> Response:
    """The fields whose place is known, as GeoJSON."""
    return _streamed(
        lambda session: map_of_fields(session, season),
        geojson.MEDIA_TYPE,
        _named("fields", season, "geojson"),
    )


def season_whole(season: int | None) -> Response:
    """A season whole, or every season."""
    return _gathered(
        lambda session, file: write_archive(session, season, now(), file),
        ZIP,
        _named("season", season, "zip"),
    )


def _named(name: str, season: int | None, kind: str) -> str:
    return f"{name}-{season}.{kind}" if season else f"{name}.{kind}"


def _streamed(parts: Callable[[Session], Iterable[bytes]], media_type: str, name: str) -> Response:
    def told() -> Iterator[bytes]:
        with ExitStack() as stack:
            yield from parts(stack.enter_context(reading()))

    # What cannot be read at all is said by the first part, while it can still be answered as an error.
    rest = told()
    first = next(rest, b"")
    answer = Response(stream_with_context(chain([first], rest)), content_type=media_type)
    answer.headers.set("Content-Disposition", "attachment", filename=name)
    return answer


def _gathered(write: Callable[[Session, IO[bytes]], None], media_type: str, name: str) -> Response:
    file = _file()
    try:
        with reading() as session:
            write(session, file)
    except BaseException:
        file.close()
        raise
    file.seek(0)
    answer = send_file(file, mimetype=media_type, as_attachment=True, download_name=name)
    # Files sent so would be kept by whatever lies between, and names and telephones are in this one.
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _file() -> IO[bytes]:
    return tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)
