"""The control chart as a picture: each point and line where its number puts it."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from decimal import Decimal as D

from tracker.papers.check_chart import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, chart, x_of, y_of

SVG = "{http://www.w3.org/2000/svg}"


def lines(svg: str) -> dict[str, float]:
    """The height of each line by its words."""
    return {
        words: float(y)
        for y, words in re.findall(r'<line [^>]*y1="([\d.]+)"[^>]*/><text [^>]*>([^<]*)</text>', svg)
    }


def points(svg: str) -> list[tuple[float, float]]:
    return [
        (float(one.attrib["cx"]), float(one.attrib["cy"])) for one in ET.fromstring(svg).iter(f"{SVG}circle")
    ]


def test_the_lines_say_what_they_are_and_lie_in_proportion() -> None:
    found = lines(chart("CP", [D(10)], D(10), D("0.5")))
    assert list(found) == [
        "mean + 3 SD: 11.500",
        "mean + 2 SD: 11.000",
        "mean: 10.000",
        "mean - 2 SD: 9.000",
        "mean - 3 SD: 8.500",
    ]
    # By hand: 4 SD reach from the middle, 150, to the edge, 20: 32.5 a step.
    assert list(found.values()) == [52.5, 85.0, 150.0, 215.0, 247.5]


def test_values_stand_in_their_order_from_left_to_right_at_their_height() -> None:
    # By hand: 530 wide from 20; mean, + 1 SD and - 2 SD.
    assert points(chart("CP", [D(10), D("10.5"), D(9)], D(10), D("0.5"))) == [
        (20.0, 150.0),
        (285.0, 117.5),
        (550.0, 215.0),
    ]


def test_a_value_beyond_three_sds_is_drawn_open_and_one_at_three_is_not() -> None:
    svg = chart("CP", [D("11.5"), D("11.51")], D(10), D("0.5"))
    at, beyond = ET.fromstring(svg).iter(f"{SVG}circle")
    assert "fill" not in at.attrib and beyond.attrib["fill"] == "none"


def test_the_chart_grows_until_every_value_is_in_it() -> None:
    for y in (y for _, y in points(chart("CP", [D(10), D(30), D(-5)], D(10), D("0.5")))):
        assert TOP <= y <= BOTTOM


def test_without_limits_the_values_stand_alone() -> None:
    svg = chart("CP", [D(10), D(11), D(12)], None, None)
    assert lines(svg) == {} and [y for _, y in points(svg)] == sorted(
        (y for _, y in points(svg)), reverse=True
    )
    assert points(chart("CP", [D(10)], None, None)) == [(285.0, 150.0)]
    assert points(chart("CP", [], None, None)) == []


def test_the_picture_has_a_title_and_nothing_that_the_pages_policy_forbids() -> None:
    svg = chart('CP of <A> & "B"', [D(10), D(11)], D(10), D(1))
    assert ET.fromstring(svg).attrib["aria-label"] == 'CP of <A> & "B"'
    assert "style=" not in svg and "<style" not in svg and "id=" not in svg
    assert f'viewBox="0 0 {WIDTH} {HEIGHT}"' in svg


def test_one_value_stands_in_the_middle() -> None:
    assert x_of(0, 1) == D(LEFT + RIGHT) / 2 and y_of(D(0), D(4)) == D(TOP + BOTTOM) / 2
