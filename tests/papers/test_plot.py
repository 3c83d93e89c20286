"""Pictures of many lots stand in a page whose policy forbids styles and scripts."""

from __future__ import annotations

from decimal import Decimal
from xml.etree import ElementTree

from tracker.papers.plot import Box, boxes

ROWS = (
    Box("Alfalfa, 2026", Decimal("17.0"), Decimal("19.5"), Decimal("21"), Decimal("15"), Decimal("23.5")),
    Box("Timothy <late>, 2025", Decimal("7.0"), Decimal("8.5"), Decimal("10"), filled=False),
)


def test_the_picture_needs_no_style_and_no_script_and_takes_the_ink_around_it() -> None:
    text = boxes(ROWS, "crude protein, % of dry matter", "Crude protein")
    root = ElementTree.fromstring(text)
    tags = {element.tag.split("}")[1] for element in root.iter()}
    assert not tags & {"style", "script", "image", "metadata"}
    assert all("style" not in element.attrib for element in root.iter())
    assert "currentColor" in text and "#1b1a16" not in text and "<?xml" not in text
    assert root.get("role") == "img" and root.get("aria-label") == "Crude protein"


def test_the_words_are_words_and_escaped() -> None:
    root = ElementTree.fromstring(boxes(ROWS, "crude protein, % of dry matter", "Crude protein"))
    words = {"".join(element.itertext()).strip() for element in root.iter() if element.tag.endswith("text")}
    assert {"Alfalfa, 2026", "Timothy <late>, 2025", "crude protein, % of dry matter"} <= words


def test_the_same_rows_give_the_same_picture_and_no_rows_give_none() -> None:
    assert boxes(ROWS, "x", "t") == boxes(ROWS, "x", "t") != boxes(ROWS[:1], "x", "t")
    assert boxes((), "x", "t") == ""
