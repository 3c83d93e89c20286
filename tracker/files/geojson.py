"""Places as GeoJSON by RFC 7946 (2016): WGS 84, longitude before latitude, no other reference system."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from typing import Any

MEDIA_TYPE = "application/geo+json"


def feature(
    number: int, latitude: Decimal, longitude: Decimal, properties: Mapping[str, Any]
) -> dict[str, Any]:
    """One point with what is known of it. Raises ValueError for a place that is not on the globe."""
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ValueError(f"{latitude}, {longitude} is not a latitude and a longitude")
    return {
        "type": "Feature",
        "id": number,
        "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
        "properties": dict(properties),
    }


def collection(features: Iterable[Mapping[str, Any]]) -> Iterator[bytes]:
    """A collection of features, one after the other."""
    yield b'{"type":"FeatureCollection","features":['
    for number, one in enumerate(features):
        yield (b",\n" if number else b"\n") + _written(one).encode()
    yield b"\n]}\n"


def _written(one: Mapping[str, Any]) -> str:
    """As JSON, with the digits a place was given in: a float would have others."""
    geometry = one["geometry"]
    digits = ",".join(format(part, "f") for part in geometry["coordinates"])
    rest = json.dumps({**one, "geometry": None}, ensure_ascii=False, separators=(",", ":"))
    return rest.replace('"geometry":null', f'"geometry":{{"type":"Point","coordinates":[{digits}]}}', 1)
