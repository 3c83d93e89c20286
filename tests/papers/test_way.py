"""The way as it is drawn: nothing overlaps, nothing is said by colour, and the words are there to be heard."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.graphics.shapes import Drawing, String
from reportlab.pdfbase.pdfmetrics import stringWidth

from tracker.domain.way import STATIONS, Station
from tracker.papers.pen import MM, printable
from tracker.papers.way import HERE, drawing, sentence, svg

CDT = timezone(timedelta(hours=-5))
LONG = "Bartholomew Featherstonehaugh-Castellanos"
SVG = "{http://www.w3.org/2000/svg}"


def make_way(reached: int = 4, by: str = "Rosa Quiroga", word: str = "dry weighed") -> list[Station]:
    """So many stations reached a day apart, the sample at the last of them."""
    return [
        Station(name, word, datetime(2026, 6, 14 + number, 9, 10, tzinfo=CDT), by, number == reached - 1)
        if number < reached
        else Station(name)
        for number, name in enumerate(STATIONS)
    ]


def boxes(drawn: Drawing) -> list[tuple[str, float, float, float, float]]:
    """Words and bounds (left, bottom, right, top in points) of each text."""
    return [
        (
            text.text,
            text.x,
            text.y - text.fontSize * 0.22,
            text.x + stringWidth(text.text, text.fontName, text.fontSize),
            text.y + text.fontSize * 0.74,
        )
        for text in drawn.contents
        if isinstance(text, String)
    ]


def overlapping(drawn: Drawing) -> list[tuple[str, str]]:
    return [
        (one[0], other[0])
        for one, other in combinations(boxes(drawn), 2)
        if one[1] < other[3] and other[1] < one[3] and one[2] < other[4] and other[2] < one[4]
    ]


@pytest.mark.parametrize("vertical", [False, True])
@pytest.mark.parametrize("by", ["Rosa Quiroga", LONG, "W" * 60])
def test_texts_do_not_overlap_nor_leave_the_drawing(by: str, vertical: bool) -> None:
    drawn = drawing(make_way(7, by), 90 if vertical else 170, vertical)
    assert overlapping(drawn) == []
    for words, left, bottom, right, top in boxes(drawn):
        assert left >= 0 and bottom >= 0 and right <= drawn.width and top <= drawn.height, words


@given(st.lists(st.text(max_size=60), min_size=7, max_size=7), st.integers(0, 7), st.booleans())
def test_whatever_the_names_the_texts_keep_apart(names: list[str], reached: int, vertical: bool) -> None:
    way = [
        Station(station.name, station.word, station.at, name if station.at else "", station.here)
        for station, name in zip(make_way(reached), names, strict=True)
    ]
    drawn = drawing(way, 90 if vertical else 170, vertical)
    assert overlapping(drawn) == []
    assert all(right <= drawn.width for _, _, _, right, _ in boxes(drawn))


def test_it_is_as_wide_as_asked_and_day_and_time_stand_on_two_lines() -> None:
    drawn = drawing(make_way(1), 170)
    said = [box[0] for box in boxes(drawn)]
    assert drawn.width == pytest.approx(170 * MM)
    assert said[:6] == ["stack", HERE, "dry weighed", "14 Jun", "09:10", "Rosa Quiroga"]


def test_nothing_stands_under_a_station_to_come() -> None:
    said = [box[0] for box in boxes(drawing(make_way(5), 170))]
    assert said[said.index("scan") :] == ["scan", "answer"]


def test_a_hyphenated_name_breaks_at_its_hyphen() -> None:
    said = [box[0] for box in boxes(drawing(make_way(1, "Anna-Featherstone"), 170))]
    assert said[5:7] == ["Anna-", "Featherstone"]


@pytest.mark.parametrize("vertical", [False, True])
def test_the_svg_parses_scales_and_says_the_way_in_words(vertical: bool) -> None:
    root = ElementTree.fromstring(svg(make_way(4, 'Ada <Brandt> & "Łukasz"'), vertical))
    words = sentence(make_way(4, 'Ada <Brandt> & "Łukasz"'))
    assert root.tag == f"{SVG}svg" and root.get("role") == "img"
    assert root.get("viewBox") and root.get("width") is None and root.get("height") is None
    assert root.get("aria-label") == words and root[0].tag == f"{SVG}title" and root[0].text == words
    assert f"oven, {HERE}" in words and words.endswith("still to come: mill, scan, answer.")
    assert "Łukasz" in "".join(text.text or "" for text in root.iter(f"{SVG}text"))


def test_the_svg_has_the_colour_of_the_text_around_it_and_no_other() -> None:
    paints = {
        value
        for element in ElementTree.fromstring(svg(make_way(4))).iter()
        for name, value in element.attrib.items()
        if name in ("fill", "stroke", "style", "class")
    }
    assert paints == {"currentColor", "none"}


def test_svg_and_paper_say_the_same() -> None:
    root = ElementTree.fromstring(svg(make_way(6)))
    on_page = [text.text for text in root.iter(f"{SVG}text")]
    assert on_page == [box[0] for box in boxes(drawing(make_way(6), 170))]
    assert len(svg(make_way(7))) < 8_000


def test_letters_the_paper_fonts_lack_are_replaced_on_paper_only() -> None:
    said = [box[0] for box in boxes(drawing(make_way(1, "Łukasz"), 170))]
    assert printable("Łukasz") in said and "Łukasz" in svg(make_way(1, "Łukasz"))


def test_a_sample_without_a_plan_has_no_way_yet() -> None:
    assert sentence([]) == "The way of the sample is not planned."
    assert ElementTree.fromstring(svg([])).tag == f"{SVG}svg"
