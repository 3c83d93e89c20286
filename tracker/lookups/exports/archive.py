"""A season whole: every table as CSV, the fields as a map, and a description that says what each column is.

The description follows the Data Package and Table Schema specifications (Frictionless Data, version 1; key names from
memory), an open form that statistical programs read.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import IO, Any

from sqlalchemy.orm import Session

from tracker.domain.boundary import area_ha
from tracker.files.geojson import area, collection, feature, point
from tracker.files.out import csv_lines
from tracker.lookups.exports import TABLES
from tracker.lookups.exports.fields import FieldPlace, field_places
from tracker.lookups.exports.table import Column, Table

_KINDS = {"moment": "datetime", "yes/no": "boolean", "text": "string"}


def write_archive(session: Session, season: int | None, made_at: datetime, target: IO[bytes]) -> None:
    """Write the archive to an open file, table by table."""
    told, sums = [], []
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for table in TABLES.values():
            name = f"{table.name}.csv"
            size, digest = _put(archive, name, csv_lines(table.lines(session, season)))
            told.append({**_described(table), "bytes": size, "hash": f"sha256:{digest}"})
            sums.append(f"{digest}  {name}\n")
        _, digest = _put(archive, "fields.geojson", map_of_fields(session, season))
        sums.append(f"{digest}  fields.geojson\n")
        package = {
            "name": "hay-samples" if season is None else f"hay-samples-{season}",
            "title": "Hay samples" if season is None else f"Hay samples of the season {season}",
            "created": made_at.isoformat(timespec="seconds"),
            "resources": told,
        }
        text = json.dumps(package, ensure_ascii=False, indent=1) + "\n"
        _, digest = _put(archive, "datapackage.json", [text.encode()])
        sums.append(f"{digest}  datapackage.json\n")
        archive.writestr("SHA256SUMS", "".join(sums))


def map_of_fields(session: Session, season: int | None) -> Iterator[bytes]:
    """The fields whose boundary or place is known, as GeoJSON: the boundary where there is one."""
    return collection(
        feature(
            one.field,
            _shape(one),
            {"field": one.name, "producer": one.producer, "lots": one.lots, **_area_of(one)},
        )
        for one in field_places(session, season)
    )


def _shape(place: FieldPlace) -> dict[str, Any]:
    if place.boundary:
        return area(place.boundary)
    assert place.latitude is not None and place.longitude is not None, "a field without either has no place"
    return point(place.latitude, place.longitude)


def _area_of(place: FieldPlace) -> dict[str, str]:
    return {"area_ha": str(area_ha(place.boundary))} if place.boundary else {}


def _put(archive: zipfile.ZipFile, name: str, parts: Iterable[bytes]) -> tuple[int, str]:
    digest, size = hashlib.sha256(), 0
    with archive.open(name, "w", force_zip64=True) as out:
        for part in parts:
            out.write(part)
            digest.update(part)
            size += len(part)
    return size, digest.hexdigest()


def _described(table: Table) -> dict[str, Any]:
    return {
        "name": table.name,
        "path": f"{table.name}.csv",
        "description": table.words,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"lineTerminator": "\r\n", "doubleQuote": True, "header": True},
        "schema": {"fields": [_field(column) for column in table.columns]},
    }


def _field(column: Column) -> dict[str, str]:
    field = {
        "name": column.name,
        "type": _KINDS.get(column.kind, column.kind),
        "description": column.words,
    }
    return {**field, "unit": column.unit} if column.unit else field
