"""Commands that let the programme's numbers out."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from tracker.cli.doing import command, integer, reading, say

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

WHOLE = "season"


def add(commands: Any) -> None:
    """Add the commands of this room."""
    made = command(
        commands,
        "export",
        "write a table, the map of fields, or a whole season to a file",
        _export,
        acts=False,
    )
    made.add_argument("table", help="which table, like samples or results; or season for all of them")
    made.add_argument(
        "--out", required=True, metavar="FILE", help="its ending is the form: csv, xlsx, geojson, zip"
    )
    made.add_argument("--season", type=integer, metavar="YEAR", help="else every season")


def _export(asked: argparse.Namespace) -> None:
    from pathlib import Path

    path = Path(asked.out)
    _refuse_form(asked.table, path.suffix.lower())
    with reading(asked) as session, path.open("wb") as out:
        _write(session, asked, path.suffix.lower(), out)
    values = {"file": path, "bytes": path.stat().st_size}
    say(
        asked,
        values,
        f"{path}: {values['bytes']} bytes. Names and telephones may be in it: mind who gets it.",
    )


def _write(session: Session, asked: argparse.Namespace, form: str, out: Any) -> None:
    from tracker.files.out import csv_lines, write_xlsx
    from tracker.lookups.exports import table_named
    from tracker.lookups.exports.archive import map_of_fields, write_archive
    from tracker.storage.engine import now_utc

    if form == ".zip":
        write_archive(session, asked.season, now_utc(), out)
    elif form == ".geojson":
        out.writelines(map_of_fields(session, asked.season))
    elif form == ".xlsx":
        write_xlsx({asked.table: table_named(asked.table).lines(session, asked.season)}, out)
    else:
        out.writelines(csv_lines(table_named(asked.table).lines(session, asked.season)))


def _refuse_form(table: str, form: str) -> None:
    from tracker.errors import Refused
    from tracker.lookups.exports import table_named

    if table != WHOLE:
        table_named(table)
    fits = (
        form == ".zip"
        if table == WHOLE
        else form in (".csv", ".xlsx") or (table, form) == ("fields", ".geojson")
    )
    if not fits:
        raise Refused(
            "not-an-export-form",
            f"{table} cannot be written as {form or 'a file without an ending'}.",
            field="out",
            remedy="A table goes out as .csv or .xlsx, the fields as .geojson too, a season as .zip.",
        )
