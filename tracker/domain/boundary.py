"""Where a field lies: a place in degrees, and a boundary of closed rings with the area it encloses.

Positions are WGS 84 in decimal degrees, longitude before latitude inside a boundary, as RFC 7946 (2016) has them.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import count, pairwise
from typing import Any, NamedTuple

from tracker.domain.units import number
from tracker.errors import Refused

# WGS 84: the half axis in metres and the square of the eccentricity (NIMA TR8350.2, 3rd edition, table 3.1 and 3.3).
_HALF_AXIS_M = 6378137.0
_ECCENTRICITY_2 = 6.69437999014e-3
_SQUARE_METRES_PER_HECTARE = 10_000
# Our choice: smaller is a slip of the hand, larger is no field but a district or swapped degrees.
LEAST_HA, MOST_HA = Decimal("0.01"), Decimal(2000)
MOST_POSITIONS = 1000
# Seven are a centimetre; maps written from binary numbers have up to 18 where a degree is near zero.
MOST_DECIMALS = 20
# The international acre is 4046.8564224 m2 (NIST Handbook 44, appendix C).
HECTARES_PER_ACRE = Decimal("0.40468564224")

Position = tuple[Decimal, Decimal]
Ring = tuple[Position, ...]
_Point = tuple[int, int]


@dataclass(frozen=True)
class Boundary:
    """One or more polygons; of each the first ring is the outline, the others are left out of it."""

    polygons: tuple[tuple[Ring, ...], ...]

    def as_data(self) -> list[Any]:
        """Plain values, every degree as the text it was given in."""
        return [
            [[[format(d, "f") for d in at] for at in ring] for ring in polygon] for polygon in self.polygons
        ]

    @classmethod
    def from_data(cls, data: Sequence[Any]) -> Boundary:
        """What as_data gave."""
        return cls(
            tuple(
                tuple(tuple((Decimal(x), Decimal(y)) for x, y in ring) for ring in polygon)
                for polygon in data
            )
        )


def read_place(text: str, *, field: str) -> tuple[Decimal, Decimal]:
    """`39.1, -96.1`: latitude first, decimal degrees. Raises Refused `not-a-place`, `not-a-number`."""
    parts = text.replace(";", ",").split(",")
    if len(parts) != 2:
        raise Refused(
            "not-a-place",
            f"{text!r} is not a latitude and a longitude.",
            field=field,
            remedy="Write it like 39.1, -96.1.",
        )
    latitude, longitude = (number(part, field=field) for part in parts)
    if abs(latitude) > 90 or abs(longitude) > 180:
        swapped = abs(longitude) <= 90 and abs(latitude) <= 180
        raise Refused(
            "not-a-place",
            f"{text!r} lies off the globe.",
            field=field,
            remedy=f"Latitude comes first: {longitude}, {latitude}." if swapped else "Check the digits.",
        )
    return latitude, longitude


def read_boundary(polygons: Any) -> Boundary:
    """The boundary of a field from the coordinates of a MultiPolygon, its numbers Decimals.

    Raises Refused `not-a-boundary`.
    """
    if not isinstance(polygons, list) or not polygons:
        raise _no_boundary("It has no polygon.")
    if positions_in(polygons) > MOST_POSITIONS:
        raise _no_boundary(f"It has more than {MOST_POSITIONS} positions.", "Draw it with fewer corners.")
    found = Boundary(tuple(_polygon(one) for one in polygons))
    ring_number = count()
    drawn = [[_sides(next(ring_number), ring) for ring in polygon] for polygon in found.polygons]
    _refuse_crossing(side for polygon in drawn for sides in polygon for side in sides)
    _refuse_misplaced(drawn)
    area = area_ha(found)
    if not LEAST_HA <= area <= MOST_HA:
        raise _no_boundary(
            f"It encloses {area} ha; a field has {LEAST_HA} to {MOST_HA}.",
            "Check the corners; longitude comes before latitude.",
        )
    return found


def positions_in(polygons: Any) -> int:
    """How many positions the coordinates of a MultiPolygon list, whatever else is wrong with them."""
    rings = (ring for polygon in _list(polygons) for ring in _list(polygon))
    return sum(len(_list(ring)) for ring in rings)


def area_ha(boundary: Boundary) -> Decimal:
    """Hectares within the boundary, to 0.01 ha.

    On the ellipsoid, by the cylindrical equal-area projection (Snyder, Map projections: a working manual, U.S.
    Geological Survey Professional Paper 1395, 1987, equation 3-12; its number is from memory); the sides are
    straight there, which for a field is the same to the last digit shown.
    """
    outlines = sum(abs(_signed_m2(polygon[0])) for polygon in boundary.polygons)
    holes = sum(abs(_signed_m2(ring)) for polygon in boundary.polygons for ring in polygon[1:])
    return Decimal(repr((outlines - holes) / _SQUARE_METRES_PER_HECTARE)).quantize(Decimal("0.01"))


def runs_counterclockwise(ring: Ring) -> bool:
    """Seen from above, north up."""
    return _signed_m2(ring) > 0


def in_words(boundary: Boundary) -> str:
    """`12.30 ha (30.4 acres)`."""
    area = area_ha(boundary)
    return f"{area} ha ({(area / HECTARES_PER_ACRE).quantize(Decimal('0.1'))} acres)"


def _list(given: Any) -> list[Any]:
    return given if isinstance(given, list) else []


def _polygon(given: Any) -> tuple[Ring, ...]:
    if not isinstance(given, list) or not given:
        raise _no_boundary("A polygon of it has no ring.")
    return tuple(_ring(one) for one in given)


def _ring(given: Any) -> Ring:
    if not isinstance(given, list) or len(given) < 4:
        raise _no_boundary(
            "A ring of it has fewer than 4 positions.", "The first one is written again at the end."
        )
    ring = tuple(_position(one) for one in given)
    if ring[0] != ring[-1]:
        raise _no_boundary("A ring of it is not closed.", "Write the first position again at the end.")
    if len(set(ring)) < 3:
        raise _no_boundary(
            "A ring of it has fewer than 3 different corners.", "Leave it out, or draw it anew."
        )
    return ring


def _position(given: Any) -> Position:
    # A third number is the height above the ellipsoid, which a field does not need.
    numbers = given[:2] if isinstance(given, list) and len(given) in (2, 3) else ()
    if len(numbers) != 2 or not all(isinstance(one, Decimal) and one.is_finite() for one in numbers):
        raise _no_boundary(f"{str(given)[:60]} is no position.", "Write longitude and latitude in degrees.")
    longitude, latitude = numbers
    # Compared and not abs(), which overflows at 1e1000000.
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise _no_boundary(
            f"{_short(longitude)}, {_short(latitude)} lies off the globe.",
            "Longitude comes first, in degrees of WGS 84; metres of a map grid are converted first.",
        )
    for degrees in numbers:
        if int(degrees.as_tuple().exponent) < -MOST_DECIMALS:
            raise _no_boundary(
                f"{_short(degrees)} has more than {MOST_DECIMALS} decimals.",
                "Export the map with 7 decimals, which is a centimetre.",
            )
    return longitude, latitude


def _short(degrees: Decimal) -> str:
    written = str(degrees)
    return written if len(written) <= 30 else f"{written[:30]}..."


def _signed_m2(ring: Ring) -> float:
    """Square metres, below zero where the ring runs clockwise."""
    # From the first corner, so that few digits are lost between far and near.
    x0, y0 = (float(degrees) for degrees in ring[0])
    points = [(math.radians(float(x) - x0), _equal_area(float(y)) - _equal_area(y0)) for x, y in ring]
    twice = sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairwise(points))
    return _HALF_AXIS_M**2 * twice / 2


def _equal_area(latitude: float) -> float:
    """Half of Snyder's q: the ordinate of the projection in half axes."""
    sine, e = math.sin(math.radians(latitude)), math.sqrt(_ECCENTRICITY_2)
    return (1 - _ECCENTRICITY_2) / 2 * (sine / (1 - _ECCENTRICITY_2 * sine**2) + math.atanh(e * sine) / e)


def _refuse_misplaced(drawn: Sequence[Sequence[Sequence[_Side]]]) -> None:
    """Nothing, where each hole lies in its outline and nothing is counted twice; of rings that do not cross."""
    for polygon in drawn:
        outline, *holes = polygon
        for hole in holes:
            if not _inside(hole, outline):
                raise _no_boundary(
                    f"A hole near {hole[0].begin[0]}, {hole[0].begin[1]} does not lie in its outline.",
                    "Give each hole with the polygon around it; a piece of the field is a polygon of its own.",
                )
            if any(_inside(hole, other) for other in holes if other is not hole):
                raise _overlapping(hole[0].begin)
        for other in drawn:
            # A piece may lie in a hole of another, as an island does.
            within = other is not polygon and _inside(outline, other[0])
            if within and not any(_inside(outline, hole) for hole in other[1:]):
                raise _overlapping(outline[0].begin)


def _inside(ring: Sequence[_Side], outer: Sequence[_Side]) -> bool:
    """Whether a ring lies within another that it does not cross, and may touch in one point."""
    # Of two corners one at least is not where they touch.
    return any(_surrounded(side.a, outer) for side in ring[:2])


def _surrounded(point: _Point, outer: Sequence[_Side]) -> bool:
    """Whether a ray from the point to the east leaves the ring an odd number of times; not on the ring itself."""
    x, y = point
    left = 0
    for side in outer:
        if _lies_on(side, point):
            return False
        if side.east >= x and (side.a[1] > y) != (side.b[1] > y):
            low, high = sorted((side.a, side.b), key=lambda end: end[1])
            left += _turn(low, high, point) > 0
    return left % 2 == 1


def _overlapping(near: Position) -> Refused:
    return _no_boundary(
        f"Two of its rings are the same or overlap near {near[0]}, {near[1]}.",
        "Draw every ring once, and pieces that share a side as one.",
    )


class _Side(NamedTuple):
    """One side of a ring, its degrees as whole numbers of the last decimal taken; sorted from west to east."""

    west: int
    east: int
    south: int
    north: int
    a: _Point
    b: _Point
    ring: int
    place: int
    of: int
    begin: Position

    def follows(self, other: _Side) -> bool:
        """Whether the two have a corner between them."""
        return self.ring == other.ring and abs(self.place - other.place) in (1, self.of - 1)


def _sides(which: int, ring: Ring) -> list[_Side]:
    # A corner that was written twice is one.
    corners = [at for at, following in pairwise(ring) if at != following]
    points = [_point(at) for at in corners]
    found = []
    for place, (begin, a, b) in enumerate(zip(corners, points, points[1:] + points[:1], strict=True)):
        west, east = sorted((a[0], b[0]))
        south, north = sorted((a[1], b[1]))
        found.append(_Side(west, east, south, north, a, b, which, place, len(corners), begin))
    return found


def _point(at: Position) -> _Point:
    longitude, latitude = at
    return int(longitude.scaleb(MOST_DECIMALS)), int(latitude.scaleb(MOST_DECIMALS))


def _refuse_crossing(sides: Iterable[_Side]) -> None:
    """Nothing, where no ring crosses itself and no two meet in more than one point.

    In a single point two rings can touch and not cross, so that each lies wholly within or without the other.
    """
    touched: dict[tuple[int, int], set[_Point]] = {}
    for one, other in _meetings(sides):
        at = max(one, other, key=lambda side: (side.ring, side.place)).begin
        if one.ring == other.ring:
            raise _no_boundary(
                f"It crosses itself near {at[0]}, {at[1]}.",
                "Draw the corners in their order around the field.",
            )
        pair = (min(one.ring, other.ring), max(one.ring, other.ring))
        points = _touching(one, other)
        if len(points) != 1 or points != touched.setdefault(pair, points):
            raise _overlapping(at)


def _touching(one: _Side, other: _Side) -> set[_Point]:
    """The ends of two sides that meet which lie on the other side; none where the two cross."""
    ends = [(one, other.a), (one, other.b), (other, one.a), (other, one.b)]
    return {point for side, point in ends if _lies_on(side, point)}


def _lies_on(side: _Side, point: _Point) -> bool:
    x, y = point
    within = side.west <= x <= side.east and side.south <= y <= side.north
    return within and _turn(side.a, side.b, point) == 0


def _meetings(sides: Iterable[_Side]) -> Iterator[tuple[_Side, _Side]]:
    """Every two sides that meet and do not follow each other.

    From west to east, so that a side is compared with those only that begin before it ends.
    """
    ordered = sorted(sides)
    wests = [side.west for side in ordered]
    for after, one in enumerate(ordered, start=1):
        beside = ordered[after : bisect_right(wests, one.east)]
        for other in [side for side in beside if side.south <= one.north and one.south <= side.north]:
            if not one.follows(other) and _meet(one.a, one.b, other.a, other.b):
                yield one, other


def _meet(a: _Point, b: _Point, c: _Point, d: _Point) -> bool:
    """Whether two sides whose boxes overlap meet anywhere."""
    return _turn(a, b, c) * _turn(a, b, d) <= 0 and _turn(c, d, a) * _turn(c, d, b) <= 0


def _turn(a: _Point, b: _Point, c: _Point) -> int:
    turned = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return (turned > 0) - (turned < 0)


def _no_boundary(
    words: str, remedy: str = "Write it as a Polygon or MultiPolygon of GeoJSON (RFC 7946)."
) -> Refused:
    return Refused("not-a-boundary", words, field="boundary", remedy=remedy)
