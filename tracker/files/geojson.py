"""Places as GeoJSON by RFC 7946 (2016): WGS 84, longitude before latitude, no other reference system."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from typing import Any

from tracker.domain.boundary import Boundary, Ring, runs_counterclockwise

MEDIA_TYPE = "application/geo+json"


def point(latitude: Decimal, longitude: Decimal) -> dict[str, Any]:
    """One place. Raises ValueError where it is not on the globe."""
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ValueError(f"{latitude}, {longitude} is not a latitude and a longitude")
    return {"type": "Point", "coordinates": [longitude, latitude]}


def area(boundary: Boundary) -> dict[str, Any]:
    """One polygon, or several where the field is in pieces; its rings turned as RFC 7946, section 3.1.6, has them."""
    polygons = [
        [_turned(ring, counterclockwise=place == 0) for place, ring in enumerate(polygon)]
        for polygon in boundary.polygons
    ]
    if len(polygons) == 1:
        return {"type": "Polygon", "coordinates": polygons[0]}
    return {"type": "MultiPolygon", "coordinates": polygons}


def _turned(ring: Ring, *, counterclockwise: bool) -> Ring:
    """An outline runs counterclockwise and a hole clockwise, whichever way it was drawn."""
    return ring if runs_counterclockwise(ring) == counterclockwise else ring[::-1]


def feature(number: int, geometry: Mapping[str, Any], properties: Mapping[str, Any]) -> dict[str, Any]:
    """A point or an area with what is known of it."""
    return {"type": "Feature", "id": number, "geometry": dict(geometry), "properties": dict(properties)}


def collection(features: Iterable[Mapping[str, Any]]) -> Iterator[bytes]:
    """A collection of features, one after the other."""
    yield b'{"type":"FeatureCollection","features":['
    for number, one in enumerate(features):
        yield (b",\n" if number else b"\n") + _written(one).encode()
    yield b"\n]}\n"


def _written(one: Mapping[str, Any]) -> str:
    """As JSON, with the digits a place was given in: a float would have others."""
    geometry = one["geometry"]
    rest = json.dumps({**one, "geometry": None}, ensure_ascii=False, separators=(",", ":"))
    drawn = f'{{"type":"{geometry["type"]}","coordinates":{_digits(geometry["coordinates"])}}}'
    return rest.replace('"geometry":null', f'"geometry":{drawn}', 1)


def _digits(coordinates: Any) -> str:
    if isinstance(coordinates, Decimal):
        return format(coordinates, "f")
    return f"[{','.join(map(_digits, coordinates))}]"
