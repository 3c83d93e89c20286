"""The field sheet: every row's symbol reads as its own tag, and the form can be told from every other."""

from __future__ import annotations

import io

import pypdfium2
import pytest
import zxingcpp

from labels import payload
from tracker.errors import Refused
from tracker.papers.field_sheet import COLUMNS, SpareTag, field_sheet

BASE = "https://hay.example"


def tags(count: int) -> list[SpareTag]:
    return [SpareTag(payload.make_code(), f"7-{number:03d}") for number in range(1, count + 1)]


def written(found: list[SpareTag], paper: str = "a4") -> pypdfium2.PdfDocument:
    file = io.BytesIO()
    pages = field_sheet(file, "F-12", found, base_url=BASE, carrier="Tove Lind", paper=paper)
    document = pypdfium2.PdfDocument(file.getvalue())
    assert len(document) == pages
    return document


def text(document: pypdfium2.PdfDocument) -> list[str]:
    return [page.get_textpage().get_text_range() for page in document]


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("dpi", [203, 300])
def test_every_symbol_reads_as_its_own_tag_with_an_independent_reader(paper: str, dpi: int) -> None:
    found = tags(25)
    read = [
        symbol.text
        for page in written(found, paper)
        for symbol in zxingcpp.read_barcodes(page.render(scale=dpi / 72, grayscale=True).to_numpy())
    ]
    assert sorted(read) == sorted(payload.url(BASE, tag.code) for tag in found)


def test_each_page_names_the_form_and_each_row_its_tag_in_the_order_given() -> None:
    found = tags(25)
    pages = text(written(found))
    assert len(pages) > 1 and all("form F-12" in page for page in pages)
    whole = "\n".join(pages)
    places = [whole.index(payload.shown(tag.code)) for tag in found]
    assert places == sorted(places)
    assert all(tag.number in whole for tag in found)


def test_it_has_boxes_for_what_a_phone_would_ask_and_says_how_it_is_typed_in() -> None:
    whole = " ".join(text(written(tags(1)))[0].split())
    for name in COLUMNS:
        assert name in whole
    assert "Typed in by" in whole and "Tove Lind" in whole and "do not core it or climb on it" in whole


def test_a_paper_that_is_not_known_is_refused() -> None:
    with pytest.raises(Refused) as caught:
        written(tags(1), "a9")
    assert caught.value.code == "unknown-paper"


def test_the_same_sheet_is_the_same_file() -> None:
    found = tags(3)
    one, two = io.BytesIO(), io.BytesIO()
    for file in (one, two):
        field_sheet(file, "F-12", found, base_url=BASE)
    assert one.getvalue() == two.getvalue()
