"""Fields from a table or a map: every line with its answer, boundaries in versions, the map back as it came."""

from __future__ import annotations

import json
from typing import Any

import pytest
from sqlalchemy import select

from tests.makers import act, done, everything, made, make_lot, refused
from tests.steps.test_bring_in import taken, told
from tracker.lookups.exports.archive import map_of_fields
from tracker.lookups.exports.fields import field_places
from tracker.steps.bring_in import bring_in
from tracker.steps.erase_person import erase_producer
from tracker.storage.engine import Database
from tracker.storage.kept import KeptRefusal
from tracker.storage.lots import Field, FieldBoundary

TABLE = b"""Producer,Field,Location
Oda Meadow,Hill,"39.10, -96.1"
Oda Meadow,Moor,
Nobody,Hill,
Oda Meadow,,
Oda Meadow,Bank,nowhere
"""
CORNERS = [["-96.100", "39.10"], ["-96.096", "39.10"], ["-96.096", "39.103"], ["-96.100", "39.10"]]


def polygon(corners: list[list[str]] = CORNERS, kind: str = "Polygon") -> str:
    inside = "[" + ",".join(f"[{x},{y}]" for x, y in corners) + "]"
    return f'{{"type":"{kind}","coordinates":[{inside}]}}'


def feature(geometry: str, **properties: str) -> str:
    return f'{{"type":"Feature","properties":{json.dumps(properties)},"geometry":{geometry}}}'


def collection(*features: str, more: str = "") -> bytes:
    return f'{{"type":"FeatureCollection",{more}"features":[{",".join(features)}]}}'.encode()


HILL = collection(feature(polygon(), Producer="Oda Meadow", field="Hill"))
POINT = '{"type":"Point","coordinates":[-96.1,39.10]}'


def fields(season: Database) -> list[dict[str, Any]]:
    """The features of the map that goes out."""
    with season.read() as session:
        found: list[dict[str, Any]] = json.loads(b"".join(map_of_fields(session, None)), parse_float=str)[
            "features"
        ]
    return found


def test_a_table_of_fields_comes_in_line_by_line(season: Database) -> None:
    assert told(taken(season, "fields", TABLE)) == [
        (2, "new"),
        (3, "new"),
        (4, "unknown-producer"),
        (5, "cell-empty"),
        (6, "not-a-place"),
    ]
    (one,) = fields(season)
    assert one["geometry"] == {"type": "Point", "coordinates": ["-96.1", "39.10"]}
    with season.read() as session:
        kept = session.scalars(select(KeptRefusal).order_by(KeptRefusal.id)).all()
    assert [(row.line, row.given["Field"]) for row in kept] == [(4, "Hill"), (5, ""), (6, "Bank")]


def test_taken_in_again_nothing_changes_and_a_place_may_come_later(season: Database) -> None:
    taken(season, "fields", TABLE)
    before = everything(season)
    again = told(taken(season, "fields", TABLE.split(b"Nobody")[0]))
    assert (again, everything(season)) == ([(2, "known"), (3, "known")], before)
    later = b'producer,field,location\nOda Meadow,Moor,"39.2, -96.2"\n'
    assert told(taken(season, "fields", later)) == [(2, "new")]
    assert len(fields(season)) == 2


def test_a_field_that_lies_elsewhere_on_record_stays_there(season: Database) -> None:
    taken(season, "fields", TABLE)
    other = b'producer,field,location\nOda Meadow,Hill,"40, -96.1"\n'
    assert told(taken(season, "fields", other)) == [(2, "field-elsewhere")]
    assert fields(season)[0]["geometry"]["coordinates"] == ["-96.1", "39.10"]


def test_a_map_brings_boundaries_with_their_digits_and_says_how_large_they_are(season: Database) -> None:
    made(season, make_lot, field="Hill")
    (answer,) = taken(season, "fields", HILL)
    # Half a rectangle of 345.98 m by 333.05 m, about 5.76 ha.
    assert answer.words == "5.76 ha (14.2 acres) within the boundary"
    (one,) = fields(season)
    assert one["geometry"] == {"type": "Polygon", "coordinates": [CORNERS]}
    assert one["properties"] == {"field": "Hill", "producer": "Oda Meadow", "lots": 1, "area_ha": "5.76"}


POND = [["-96.0970", "39.1005"], ["-96.0965", "39.1005"], ["-96.0965", "39.1010"], ["-96.0970", "39.1005"]]


@pytest.mark.parametrize("outline", [CORNERS, CORNERS[::-1]])
@pytest.mark.parametrize("hole", [POND, POND[::-1]])
def test_outlines_go_out_counterclockwise_and_holes_clockwise_and_are_kept_as_they_came(
    season: Database, outline: list[list[str]], hole: list[list[str]]
) -> None:
    rings = ",".join("[" + ",".join(f"[{x},{y}]" for x, y in ring) + "]" for ring in (outline, hole))
    drawn = f'{{"type":"Polygon","coordinates":[{rings}]}}'
    assert told(taken(season, "fields", collection(feature(drawn, producer="Oda Meadow", field="Hill")))) == [
        (1, "new")
    ]
    (one,) = fields(season)
    # East along the south side first, and then north: RFC 7946, section 3.1.6.
    assert one["geometry"]["coordinates"] == [CORNERS, POND[::-1]]
    with season.read() as session:
        assert session.scalars(select(FieldBoundary.polygons)).one() == [[outline, hole]]


def test_a_boundary_drawn_anew_holds_and_the_one_before_stays(season: Database) -> None:
    taken(season, "fields", HILL)
    before = everything(season)
    assert told(taken(season, "fields", HILL)) == [(1, "known")] and everything(season) == before
    moved = [[x, y.replace("39.103", "39.104")] for x, y in CORNERS]
    assert told(
        taken(season, "fields", collection(feature(polygon(moved), producer="Oda Meadow", name="Hill")))
    ) == [(1, "new")]
    assert fields(season)[0]["geometry"]["coordinates"] == [moved]
    with season.read() as session:
        assert [
            row.polygons[0] for row in session.scalars(select(FieldBoundary).order_by(FieldBoundary.id))
        ] == [
            [CORNERS],
            [moved],
        ]


def test_one_feature_refused_touches_no_other_and_its_shape_is_kept(season: Database) -> None:
    given = collection(
        feature(polygon(CORNERS[:3]), producer="Oda Meadow", field="Open"),
        feature(POINT, producer="Oda Meadow", field="Hill"),
        feature("null", producer="Oda Meadow", field="Nowhere"),
        feature(polygon(), field="Nobody's"),
        '"no feature"',
    )
    assert told(taken(season, "fields", given)) == [
        (1, "not-a-boundary"),
        (2, "new"),
        (3, "not-a-boundary"),
        (4, "cell-empty"),
        (5, "cell-empty"),
    ]
    with season.read() as session:
        kept = session.scalars(select(KeptRefusal).order_by(KeptRefusal.id)).all()
        assert '"39.103"' in kept[0].given["boundary"]
        assert [one.name for one in field_places(session)] == ["Hill"]


OTHER_SYSTEM = '"crs":{"type":"name","properties":{"name":"EPSG:25832"}},'


@pytest.mark.parametrize(
    "data",
    [
        b'{"type":"Feature","geometry":null,"properties":{}}',
        b'{"type":"FeatureCollection","features":[]}',
        b'{"type":"FeatureCollection","features":[}',
        b'{"a":' * 100_000,
        b'{"type":"FeatureCollection","features":[1e-99999999999999999999]}',
        collection(feature(polygon(), producer="Oda Meadow", field="Hill"), more=OTHER_SYSTEM),
    ],
)
def test_what_is_no_map_of_fields_is_refused_whole(season: Database, data: bytes) -> None:
    found = refused(season, lambda s: bring_in(s, "fields", "fields.geojson", data, act(s, "tove", 10)))
    assert (found.code, found.field) == ("not-a-map", "file")


def test_a_map_of_more_positions_than_are_looked_through_is_refused_whole(season: Database) -> None:
    # No position of them is one: they are counted before any is read.
    many = feature('{"type":"MultiPolygon","coordinates":[[[' + ",".join(["0"] * 10_001) + "]]]}")
    found = refused(
        season,
        lambda s: bring_in(s, "fields", "fields.geojson", collection(many, many), act(s, "tove", 10)),
    )
    assert (found.code, found.field) == ("file-too-large", "file")
    assert "20002 positions; the most is 20000" in str(found)


def test_the_one_reference_system_may_be_named(season: Database) -> None:
    named = '"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}},'
    assert told(
        taken(season, "fields", collection(feature(POINT, producer="Oda Meadow", field="Hill"), more=named))
    )[0] == (1, "new")


def test_a_producer_who_is_erased_leaves_no_boundary(season: Database) -> None:
    taken(season, "fields", HILL)
    done(season, lambda s: erase_producer(s, "Oda Meadow", act(s, "lena", 3000), reason="asked for it"))
    assert fields(season) == []
    with season.read() as session:
        assert session.scalars(select(FieldBoundary.polygons)).all() == [[]]
        assert session.scalars(select(Field.name)).all() == ["Hill"]
