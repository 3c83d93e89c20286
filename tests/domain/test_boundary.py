"""A field's boundary: what is one, and how much it encloses."""

from __future__ import annotations

import math
import time
from decimal import Decimal
from itertools import combinations, pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.boundary import (
    HECTARES_PER_ACRE,
    Boundary,
    area_ha,
    in_words,
    read_boundary,
    read_place,
)
from tracker.errors import Refused

# A rectangle of 0.004 by 0.003 degrees in the middle of a prairie, the corners in their order.
CORNERS = ["-96.100,39.100", "-96.096,39.100", "-96.096,39.103", "-96.100,39.103", "-96.100,39.100"]


def ring(corners: list[str]) -> list[list[Decimal]]:
    return [[Decimal(part) for part in corner.split(",")] for corner in corners]


def whole(*corners: str) -> Boundary:
    """Without the limits of a field."""
    return Boundary(((tuple((x, y) for x, y in ring(list(corners))),),))


def test_an_eighth_of_the_globe_is_an_eighth_of_its_surface() -> None:
    # The surface of the WGS 84 ellipsoid is 510 065 621.724 km2 (NIMA TR8350.2, 3rd edition, table 3.3, gives its
    # parts; the figure itself is from memory and follows from Snyder's equation for a whole hemisphere).
    octant = whole("0,0", "90,0", "90,90", "0,90", "0,0")
    assert (area_ha(octant) * 8 / 100).quantize(Decimal("0.001")) == Decimal("510065621.724")


def test_a_field_is_the_length_of_its_sides_times_each_other() -> None:
    # By the radii of curvature at 39.1015 degrees: 0.004 degrees of longitude are 346.0 m, 0.003 of latitude 333.1 m.
    found = area_ha(read_boundary([[ring(CORNERS)]]))
    assert abs(found - Decimal("345.98") * Decimal("333.05") / 10_000) < Decimal("0.02")
    assert in_words(read_boundary([[ring(CORNERS)]])) == f"{found} ha (28.5 acres)"


def test_an_acre_is_the_international_one() -> None:
    # 43 560 square feet of 0.3048 m, exactly.
    assert 43560 * Decimal("0.3048") ** 2 == HECTARES_PER_ACRE * 10_000


def test_what_is_left_out_is_taken_off_and_pieces_are_added() -> None:
    pond = ["-96.099,39.101", "-96.098,39.101", "-96.098,39.102", "-96.099,39.102", "-96.099,39.101"]
    field, hole = area_ha(read_boundary([[ring(CORNERS)]])), area_ha(read_boundary([[ring(pond)]]))
    assert area_ha(read_boundary([[ring(CORNERS), ring(pond)]])) == field - hole
    far = [corner.replace("-96.", "-97.") for corner in CORNERS]
    both = area_ha(read_boundary([[ring(CORNERS)], [ring(far)]]))
    assert abs(both - 2 * field) <= Decimal("0.01"), "each is rounded"


def box(west: int, south: int, east: int, north: int) -> list[list[Decimal]]:
    """A rectangle, its sides in thousandths of a degree."""
    corners = [(west, south), (east, south), (east, north), (west, north), (west, south)]
    return [[Decimal(x) / 1000, Decimal(y) / 1000] for x, y in corners]


FIELD = box(0, 0, 10, 10)


@pytest.mark.parametrize(
    ("polygons", "words"),
    [
        ([[FIELD], [FIELD]], "are the same or overlap"),
        ([[FIELD], [FIELD[2:] + FIELD[1:3]]], "are the same or overlap"),
        ([[FIELD, FIELD]], "are the same or overlap"),
        ([[FIELD, box(2, 2, 4, 4), box(2, 2, 4, 4)]], "are the same or overlap"),
        ([[FIELD], [box(5, 5, 15, 15)]], "are the same or overlap"),
        ([[FIELD], [box(5, 0, 15, 10)]], "are the same or overlap"),
        ([[FIELD], [box(10, 0, 20, 10)]], "are the same or overlap"),
        ([[FIELD], [box(2, 2, 4, 4)]], "are the same or overlap"),
        ([[box(2, 2, 4, 4)], [FIELD]], "are the same or overlap"),
        ([[FIELD, box(2, 2, 8, 8), box(3, 3, 4, 4)]], "are the same or overlap"),
        ([[FIELD, box(8, 8, 12, 12)]], "are the same or overlap"),
        ([[FIELD, box(12, 2, 14, 4)]], "does not lie in its outline"),
        ([[FIELD, box(10, 10, 12, 12)]], "does not lie in its outline"),
        ([[box(2, 2, 4, 4), FIELD]], "does not lie in its outline"),
    ],
)
def test_what_would_be_counted_twice_or_taken_off_elsewhere_is_refused(polygons: Any, words: str) -> None:
    with pytest.raises(Refused, match=words) as refused:
        read_boundary(polygons)
    assert refused.value.code == "not-a-boundary"


def test_pieces_may_touch_in_a_corner_holes_touch_the_outline_and_islands_lie_in_holes() -> None:
    part = area_ha(read_boundary([[box(0, 0, 1, 1)]]))
    diamond = [[Decimal(x) / 1000, Decimal(y) / 1000] for x, y in [(0, 5), (2, 4), (2, 6), (0, 5)]]
    for polygons, parts in (
        ([[FIELD], [box(10, 10, 12, 12)]], 104),
        ([[FIELD, diamond]], 98),
        ([[FIELD, box(2, 2, 8, 8)], [box(3, 3, 4, 4)]], 65),
        ([[box(3, 3, 4, 4)], [FIELD, box(2, 2, 8, 8)]], 65),
        ([[FIELD, box(2, 2, 4, 4), box(4, 4, 6, 6)]], 92),
    ):
        assert abs(area_ha(read_boundary(polygons)) - part * parts) < 1


@given(st.integers(0, 3), st.booleans())
def test_where_a_ring_begins_and_which_way_it_goes_does_not_matter(begin: int, back: bool) -> None:
    open_ = CORNERS[:-1][begin:] + CORNERS[:-1][:begin]
    corners = open_[::-1] if back else open_
    turned = read_boundary([[ring([*corners, corners[0]])]])
    assert area_ha(turned) == area_ha(read_boundary([[ring(CORNERS)]]))


def test_a_corner_written_twice_is_one() -> None:
    twice = [CORNERS[0], CORNERS[1], CORNERS[1], *CORNERS[2:]]
    assert area_ha(read_boundary([[ring(twice)]])) == area_ha(read_boundary([[ring(CORNERS)]]))


def test_degrees_come_back_with_their_own_digits() -> None:
    found = read_boundary([[ring(CORNERS)]])
    assert found.as_data()[0][0][0] == ["-96.100", "39.100"]
    assert Boundary.from_data(found.as_data()) == found


BOW = [CORNERS[0], CORNERS[2], CORNERS[1], CORNERS[3], CORNERS[0]]


@pytest.mark.parametrize(
    ("polygons", "words"),
    [
        ([], "no polygon"),
        ("here", "no polygon"),
        ([[]], "no ring"),
        ([[ring(CORNERS[:3])]], "fewer than 4"),
        ([[ring(CORNERS[:4])]], "not closed"),
        ([[ring(BOW)]], "crosses itself"),
        ([[[["a", "b"]] * 4]], "no position"),
        ([[[[1.5, 2.5]] * 4]], "no position"),
        ([[ring(["39.1,-96.1"] * 4)]], "lies off the globe"),
        ([[ring(["0,0", "1,0", "1,1", "0,0"])]], "a field has 0.01 to 2000"),
        ([[ring(["0,0"] * 5)]], "fewer than 3 different corners"),
        ([[ring(CORNERS), ring(["-96.099,39.101"] * 5)]], "fewer than 3 different corners"),
        ([[ring(["0,0", "0.00001,0", "0.00001,0.00001", "0,0"])]], "encloses 0.00 ha"),
        ([[ring(CORNERS[:4] * 260 + CORNERS[:1])]], "more than 1000 positions"),
    ],
)
def test_what_is_no_boundary_says_why(polygons: Any, words: str) -> None:
    with pytest.raises(Refused, match=words) as refused:
        read_boundary(polygons)
    assert (refused.value.code, refused.value.field) == ("not-a-boundary", "boundary")
    assert refused.value.remedy


@pytest.mark.parametrize(
    ("longitude", "words"),
    [
        ("1e-20000", "more than 20 decimals"),
        ("-96." + "1" * 21, "more than 20 decimals"),
        ("0e-20000", "more than 20 decimals"),
        ("1e1000000", "lies off the globe"),
        ("9" * 100_000, "lies off the globe"),
    ],
)
def test_a_number_no_map_has_is_refused_in_one_short_sentence(longitude: str, words: str) -> None:
    corner = [Decimal(longitude), Decimal("39.1")]
    with pytest.raises(Refused, match=words) as refused:
        read_boundary([[[corner, *ring(CORNERS)[1:4], corner]]])
    assert (refused.value.code, len(refused.value.message) < 100) == ("not-a-boundary", True)


def test_the_digits_of_a_binary_number_near_zero_are_taken() -> None:
    near = [corner.replace("-96.1", "0.0").replace("-96.096", "0.0040000000000000001") for corner in CORNERS]
    assert read_boundary([[ring(near)]]).as_data()[0][0][1][0] == "0.0040000000000000001"


def test_too_many_positions_are_counted_before_any_is_read() -> None:
    with pytest.raises(Refused, match="more than 1000 positions"):
        read_boundary([[["no position"] * 1001]])


Corner = tuple[int, int]


def on_one_line(a: Corner, b: Corner, c: Corner) -> int:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def between(a: Corner, b: Corner, c: Corner) -> bool:
    """Whether c lies on the side from a to b."""
    near = all(min(a[axis], b[axis]) <= c[axis] <= max(a[axis], b[axis]) for axis in (0, 1))
    return near and on_one_line(a, b, c) == 0


def meet(a: Corner, b: Corner, c: Corner, d: Corner) -> bool:
    """By the definition: an end of one lies on the other, or each has its ends on both hands of the other."""
    touch = between(a, b, c) or between(a, b, d) or between(c, d, a) or between(c, d, b)
    apart = (
        on_one_line(a, b, c) * on_one_line(a, b, d) < 0 and on_one_line(c, d, a) * on_one_line(c, d, b) < 0
    )
    return touch or apart


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=4, max_size=9, unique=True))
def test_a_ring_crosses_itself_where_any_two_of_its_sides_do(corners: list[Corner]) -> None:
    sides = list(pairwise([*corners, corners[0]]))
    expected = any(
        meet(*one, *other)
        for (at, one), (place, other) in combinations(enumerate(sides), 2)
        if place - at not in (1, len(sides) - 1)
    )
    drawn = [[Decimal(x) / 500, Decimal(y) / 500] for x, y in [*corners, corners[0]]]
    try:
        read_boundary([[drawn]])
        words = ""
    except Refused as refused:
        words = refused.message
    assert ("crosses itself" in words) == expected


def time_to_read(corners: int) -> float:
    """Seconds of work for a round field, the best of three."""
    turns = [2 * math.pi * number / corners for number in range(corners)]
    drawn = [[Decimal(f"{math.cos(a) / 200:.12f}"), Decimal(f"{math.sin(a) / 200:.12f}")] for a in turns]
    taken = []
    for _ in range(3):
        begin = time.process_time()
        read_boundary([[[*drawn, drawn[0]]]])
        taken.append(time.process_time() - begin)
    return min(taken)


def test_ten_times_the_corners_take_far_less_than_a_hundred_times_as_long() -> None:
    assert time_to_read(990) < 40 * time_to_read(99)


def test_a_place_is_a_latitude_and_a_longitude() -> None:
    assert read_place("39.1; -96.10", field="location") == (Decimal("39.1"), Decimal("-96.10"))


@pytest.mark.parametrize(
    ("text", "remedy"),
    [("39.1", "Write it like"), ("-96.1, 39.1", "Latitude comes first"), ("91, 181", "digits")],
)
def test_what_is_no_place_says_what_to_write(text: str, remedy: str) -> None:
    with pytest.raises(Refused, match=r"is not|off the globe") as refused:
        read_place(text, field="location")
    assert refused.value.code == "not-a-place" and remedy in (refused.value.remedy or "")
