"""Fields from a table or from a map: whose they are, what they are called, and where they lie.

A table has columns producer, field and, if wanted, location. A map is GeoJSON (RFC 7946, 2016): a FeatureCollection
whose features have `producer` and `field` (or `name`) among their properties, and a Polygon, a MultiPolygon or a
Point. Which of the two a file is, its bytes decide.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from tracker.domain.boundary import Boundary, positions_in, read_boundary, read_place
from tracker.errors import Refused
from tracker.files.columns import cells_of, check_words, columns_of, in_one_spacing
from tracker.files.table import Row
from tracker.files.table_file import read_table, refuse_too_large

NEEDED = ("producer", "field")
OPTIONAL = ("location",)
# Some 500 fields of 40 corners. Our choice, so that looking through the worst of files takes seconds.
MOST_POSITIONS = 20_000
# RFC 7946, section 4: these are other names of its one reference system.
_WGS_84 = ("urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:OGC::CRS84", "EPSG:4326")


@dataclass(frozen=True)
class FieldRow:
    """One line of a table or one feature of a map, counted from 1; its words as written either way.

    location: latitude and longitude, WGS 84.
    """

    line: int
    cells: tuple[str, ...]
    producer: str = ""
    field: str = ""
    location: tuple[Decimal, Decimal] | None = None
    boundary: Boundary | None = None
    problem: Refused | None = None


def is_map(data: bytes) -> bool:
    """Whether these bytes are meant as GeoJSON and not as a table."""
    return data.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{")


def read_fields(
    name: str, data: bytes, *, sheet: str | None = None
) -> tuple[tuple[str, ...], tuple[FieldRow, ...]]:
    """What the cells are called, and each line or feature as a field or its complaint.

    Raises Refused `columns-missing`, `columns-unknown`, `not-a-map`, `file-too-large`, and what read_table raises.
    """
    if is_map(data):
        return (*NEEDED, "boundary"), _features(name, data)
    table = read_table(name, data, sheet=sheet)
    names = columns_of(table.header, NEEDED, OPTIONAL, "list of fields")
    return tuple(table.header), tuple(_read_row(row, names) for row in table.rows)


def _read_row(row: Row, names: tuple[str, ...]) -> FieldRow:
    try:
        values = cells_of(row, names)
        check_words(values, NEEDED)
        place = values.get("location", "")
        location = read_place(place, field="location") if place else None
    except Refused as refused:
        refused.line = row.line
        return FieldRow(row.line, row.cells, problem=refused)
    return FieldRow(row.line, row.cells, values["producer"], values["field"], location)


def _features(name: str, data: bytes) -> tuple[FieldRow, ...]:
    refuse_too_large(name, data)
    try:
        # Every number as the digits it was written in.
        given = json.loads(data.decode("utf-8-sig"), parse_float=Decimal, parse_int=Decimal)
    except (ValueError, ArithmeticError, RecursionError):
        # Of arithmetic: an exponent that no Decimal can have.
        raise _no_map(f"{name} begins like GeoJSON and cannot be read as such.") from None
    features = given.get("features")
    if given.get("type") != "FeatureCollection" or not isinstance(features, list) or not features:
        raise _no_map(f"{name} is no FeatureCollection with features.")
    system = given.get("crs")
    if system is not None and not any(known in json.dumps(system, default=str) for known in _WGS_84):
        raise _no_map(f"{name} is in another reference system than WGS 84.")
    positions = sum(positions_in(_polygons(_part(feature, "geometry"))) for feature in features)
    if positions > MOST_POSITIONS:
        raise Refused(
            "file-too-large",
            f"{name} draws {positions} positions; the most is {MOST_POSITIONS}.",
            field="file",
            remedy="Divide the file, or draw the fields with fewer corners.",
        )
    return tuple(_feature(number, feature) for number, feature in enumerate(features, start=1))


def _feature(number: int, given: Any) -> FieldRow:
    properties = _part(given, "properties")
    geometry = _part(given, "geometry")
    words = {"producer": _word(properties, "producer"), "field": _word(properties, "field", "name")}
    cells = (*words.values(), json.dumps(geometry, default=str, separators=(",", ":")))
    try:
        check_words(words, NEEDED)
        location, boundary = _geometry(geometry)
    except Refused as refused:
        refused.line = number
        return FieldRow(number, cells, problem=refused)
    return FieldRow(number, cells, words["producer"], words["field"], location, boundary)


def _geometry(given: Mapping[str, Any]) -> tuple[tuple[Decimal, Decimal] | None, Boundary | None]:
    kind, coordinates = given.get("type"), given.get("coordinates")
    if kind == "Point" and isinstance(coordinates, list) and len(coordinates) >= 2:
        longitude, latitude = coordinates[:2]
        return read_place(f"{latitude}, {longitude}", field="boundary"), None
    return None, read_boundary(_polygons(given))


def _polygons(geometry: Mapping[str, Any]) -> Any:
    """The coordinates of a MultiPolygon, or of a Polygon as one."""
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    return [coordinates] if kind == "Polygon" else coordinates if kind == "MultiPolygon" else []


def _part(given: Any, name: str) -> Mapping[str, Any]:
    found = given.get(name) if isinstance(given, Mapping) else None
    return found if isinstance(found, Mapping) else {}


def _word(properties: Mapping[str, Any], *names: str) -> str:
    """The first of these properties that is there; their names in any case."""
    folded = {str(name).casefold(): value for name, value in properties.items()}
    found = next((folded[name] for name in names if folded.get(name) is not None), "")
    return in_one_spacing(str(found))


def _no_map(words: str) -> Refused:
    return Refused(
        "not-a-map",
        words,
        field="file",
        remedy="Export the fields as GeoJSON (RFC 7946): a FeatureCollection in WGS 84, longitude before latitude.",
    )
