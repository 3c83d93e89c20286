"""Tags and sack labels, printed, rasterised and read back."""

from __future__ import annotations

import io
import random
import re
import zlib
from typing import Any

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reportlab.pdfbase.pdfmetrics import stringWidth

from labels import LabelError, payload, pdf
from labels.layout import CAPS, CODE_CAPS_MM, POINTS, Box, Marks, sack_marks, tag_marks
from labels.qr import QUIET, dots_per_mm, fewest_dots
from labels.sheet import EDGE_MM, cells, frame
from labels.stock import PRESETS

BASE = "https://hay.example.edu"
FITTING = ["letter-2x3", "letter-2x5", "a4-2x4", "roll-100x50", "roll-102x152"]
SACKS = ["letter-3x10", "letter-2x7", "a4-3x6", "a4-3x7", "roll-57x32", "roll-100x50", "roll-102x152"]


def make_sack(rng: random.Random, *lines: str) -> pdf.SackLabel:
    code = payload.make_code(rng)
    return pdf.SackLabel(code, payload.url(BASE, code), lines or ("Lot 2026-014", "55 °C oven"))


@pytest.mark.parametrize("dpi", [203.2, 300])
@pytest.mark.parametrize("name", FITTING)
def test_every_symbol_of_every_tag_reads_back_byte_for_byte(
    name: str, dpi: float, printed: Any, rasters: Any, make_tag: Any
) -> None:
    stock, rng = PRESETS[name], random.Random(name)
    items = [make_tag(rng) for _ in range(min(stock.per_page + 2, 8))]
    pages = rasters(printed(pdf.tags, stock, items), dpi)
    read = sorted(found.text for page in pages for found in page.decoded())
    assert read == sorted(text for tag in items for text in (tag.bag_url, tag.bag_url, tag.stub_url))


@pytest.mark.parametrize("dpi", [203.2, 300])
@pytest.mark.parametrize("name", SACKS)
def test_every_sack_label_reads_back(name: str, dpi: float, printed: Any, rasters: Any) -> None:
    stock, rng = PRESETS[name], random.Random(name)
    items = [make_sack(rng) for _ in range(min(stock.per_page, 9))]
    pages = rasters(printed(pdf.sack_labels, stock, items), dpi)
    assert sorted(found.text for page in pages for found in page.decoded()) == sorted(i.url for i in items)


@pytest.mark.parametrize("rotation", [90, 180, 270])
@pytest.mark.parametrize("name", ["letter-2x3", "roll-102x152"])
def test_rotated_tags_read_back_inside_their_own_cells(
    name: str, rotation: int, printed: Any, rasters: Any, make_tag: Any
) -> None:
    stock, rng = PRESETS[name], random.Random(rotation)
    items = [make_tag(rng) for _ in range(min(3, stock.per_page))]
    places = cells(stock, len(items), skip=(2,) if stock.per_page > 1 else ())
    data = printed(pdf.tags, stock, items, rotation=rotation, skip=(2,) if stock.per_page > 1 else ())
    (page,) = rasters(data, 203.2)
    found = page.decoded()
    assert len(found) == 3 * len(items)
    for symbol in found:
        (cell,) = (
            c for c, tag in zip(places, items, strict=True) if symbol.text in (tag.bag_url, tag.stub_url)
        )
        for corner in (symbol.position.top_left, symbol.position.bottom_right):
            assert cell.x <= corner.x / 8 <= cell.x + cell.w
            assert cell.y <= corner.y / 8 <= cell.y + cell.h


def test_the_smallest_modules_read_at_their_own_resolution(printed: Any, rasters: Any, make_tag: Any) -> None:
    tag = make_tag(random.Random(1))
    (page,) = rasters(printed(pdf.tags, PRESETS["roll-100x50"], [tag], dots=4), 203.2)
    assert sorted(found.text for found in page.decoded()) == sorted([tag.bag_url] * 2 + [tag.stub_url])


@pytest.mark.parametrize("name", FITTING)
def test_the_quiet_zone_is_white_and_the_modules_are_whole_dots(
    name: str, printed: Any, rasters: Any, make_tag: Any
) -> None:
    stock, tag = PRESETS[name], make_tag(random.Random(2))
    marks, (cell,) = tag_marks(stock, 0, tag), cells(stock, 1)
    (page,) = rasters(printed(pdf.tags, stock, [tag]), 203.2)
    for symbol in marks.symbols:
        dots = symbol.module * dots_per_mm(stock.dpi)
        assert dots == pytest.approx(round(dots))
        assert round(dots) >= fewest_dots(stock.dpi)
        ring = QUIET * symbol.module
        left, top, side = cell.x + symbol.box.x, cell.y + symbol.box.y, symbol.box.w
        # One pixel from the edges is left out: it may be half another mark.
        whole = [(x, y) for y in _pixels(top, side) for x in _pixels(left, side)]
        inner_x, inner_y = _pixels(left + ring, side - 2 * ring, 1), _pixels(top + ring, side - 2 * ring, 1)
        zone = [page.at(x, y) for x, y in whole if x not in inner_x or y not in inner_y]
        assert len(zone) > 1000
        assert min(zone) == 255


def _pixels(start: float, length: float, spare: int = -1) -> range:
    return range(round(start * 8) - spare, round((start + length) * 8) + spare)


def _overlap(a: Box, b: Box) -> bool:
    slack = 0.07  # half a dot of snapping at 203 dpi
    return (
        a.x + slack < b.right and b.x + slack < a.right and a.y + slack < b.bottom and b.y + slack < a.bottom
    )


def _check(marks: Marks, w: float, h: float) -> None:
    solid = [*(s.box for s in marks.symbols), *(t.box for t in marks.texts)]
    for place, box in enumerate(solid):
        assert box.x >= EDGE_MM - 0.07
        assert box.y >= EDGE_MM - 0.07
        assert box.right <= w - EDGE_MM + 0.07
        assert box.bottom <= h - EDGE_MM + 0.07
        assert not any(_overlap(box, other) for other in solid[place + 1 :])
    for symbol in marks.symbols:
        assert not any(_overlap(symbol.box, box) for box in marks.boxes)
    for text in marks.texts:
        font = "Helvetica-Bold" if text.bold else "Helvetica"
        assert stringWidth(text.words, font, text.size) * text.narrow / POINTS <= text.box.w + 0.01
        assert text.size * CAPS / POINTS <= text.box.h + 0.01


@given(st.sampled_from(FITTING), st.sampled_from((0, 90)), st.integers(0, 9999), st.integers(0, 7))
@settings(max_examples=40, deadline=None)
def test_nothing_on_a_tag_overlaps_or_touches_the_edge(name: str, turn: int, seed: int, extra: int) -> None:
    stock, rng = PRESETS[name], random.Random(seed)
    code, base = payload.make_code(rng), BASE + "/ABCDEF"[:extra]
    base = base.rstrip("/")
    tag = pdf.Tag(
        code,
        payload.url(base, code),
        payload.url(base, payload.make_token(rng)),
        "Cedar Valley Hay Programme",
        "555-0142",
        "7-001",
    )
    try:
        marks = tag_marks(stock, turn, tag)
    except LabelError as complaint:
        assert complaint.code == "label-too-small"
        assert turn == 90 and name in ("letter-2x5", "a4-2x4", "roll-100x50")
        return
    _check(marks, *frame(stock, turn))
    assert marks.tear is not None
    assert len(marks.symbols) == 3


@given(st.sampled_from(SACKS), st.integers(0, 9999), st.integers(0, 2))
@settings(max_examples=40, deadline=None)
def test_nothing_on_a_sack_label_overlaps_or_touches_the_edge(name: str, seed: int, lines: int) -> None:
    label = make_sack(random.Random(seed), *["Lot 2026-014", "55 °C oven"][: max(lines, 1)])
    marks = sack_marks(PRESETS[name], 0, label)
    _check(marks, *frame(PRESETS[name], 0))
    assert [t.words for t in marks.texts if t.words.endswith(" g")] == ["Tare g", "Fresh g", "Dry g"]
    assert len(marks.boxes) == 3


@pytest.mark.parametrize("name", FITTING)
def test_even_the_widest_code_stands_in_capitals_of_4_mm(name: str) -> None:
    tag = pdf.Tag(
        "WWWWWWWW", payload.url(BASE, "3R71XZ15"), payload.url(BASE, payload.make_token()), "P", "1"
    )
    marks = tag_marks(PRESETS[name], 0, tag)
    codes = [t for t in marks.texts if "WWWW" in t.words]
    assert {t.words for t in codes} == {"WWWW-WWWW", "…WWWW"}
    for text in codes:
        assert text.size * CAPS / POINTS >= CODE_CAPS_MM - 1e-9
        assert text.size >= 14


def test_the_stub_names_the_bag_by_its_last_four_and_not_by_its_code(make_tag: Any) -> None:
    tag = make_tag(random.Random(3))
    marks = tag_marks(PRESETS["letter-2x5"], 0, tag)
    assert marks.tear is not None
    stub = [text.words for text in marks.texts if text.box.x > marks.tear.x]
    assert f"…{tag.code[-4:]}" in stub
    assert "PRODUCER COPY" in stub
    assert tag.phone in stub
    assert " ".join(words for words in stub if words in tag.programme) == tag.programme
    assert not any(tag.code in words or payload.shown(tag.code) in words for words in stub)


def test_the_token_is_in_the_stub_symbol_only_and_never_in_words(make_tag: Any) -> None:
    tag = make_tag(random.Random(4))
    marks = tag_marks(PRESETS["letter-2x5"], 0, tag)
    assert [symbol.text for symbol in marks.symbols].count(tag.stub_url) == 1
    assert not any(tag.stub_url[-26:] in text.words for text in marks.texts)


def test_the_file_asks_for_no_scaling_and_is_the_same_each_time(printed: Any, make_tag: Any) -> None:
    tag, stock = make_tag(random.Random(6)), PRESETS["letter-2x5"]
    for write, items in ((pdf.tags, ([tag],)), (pdf.sack_labels, ([make_sack(random.Random(1))],))):
        data = printed(write, stock, *items)
        assert data.startswith(b"%PDF-1.6")
        assert b"/PrintScaling /None" in data
        assert data == printed(write, stock, *items)
    assert b"/PrintScaling /None" in printed(pdf.calibration_page, stock)


def test_what_all_labels_have_in_common_is_written_once(printed: Any, make_tag: Any) -> None:
    items = [make_tag(random.Random(n), phone="555-0142") for n in range(60)]
    streams = re.findall(rb"stream\n(.*?)\nendstream", printed(pdf.tags, PRESETS["letter-2x3"], items), re.S)
    marks = b"".join(zlib.decompress(one) for one in streams)
    assert [marks.count(word) for word in (b"(PRODUCER COPY)", b"(555-0142)", b"/M Do")] == [1, 1, 60]
    # Only what differs is written for each: here the numbers too are the same.
    assert marks.count(items[7].bag_url.encode()) == 1


def test_labels_that_differ_in_any_words_show_their_own(printed: Any, make_tag: Any) -> None:
    phones = ["555-0142", "555-0177"]
    data = printed(
        pdf.tags,
        PRESETS["letter-2x3"],
        [make_tag(random.Random(n), phone=one) for n, one in enumerate(phones)],
    )
    document = pypdfium2.PdfDocument(data)
    said = document[0].get_textpage().get_text_range()
    document.close()
    assert [said.count(phone) for phone in phones] == [2, 2]
    assert said.count("PRODUCER COPY") == 2


def test_a_roll_has_one_label_a_page_of_the_label_s_own_size(
    printed: Any, rasters: Any, make_tag: Any
) -> None:
    items = [make_tag(random.Random(n)) for n in range(3)]
    pages = rasters(printed(pdf.tags, PRESETS["roll-100x50"], items), 203.2)
    assert len(pages) == 3
    # The renderer rounds up to whole pixels.
    assert all(page.width in (800, 801) and page.height in (400, 401) for page in pages)


def test_progress_is_told_after_each_label(printed: Any, make_tag: Any) -> None:
    told: list[tuple[int, int]] = []
    items = [make_tag(random.Random(n)) for n in range(3)]
    printed(pdf.tags, PRESETS["letter-2x5"], items, progress=lambda done, total: told.append((done, total)))
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_a_label_too_small_names_stock_that_fits(make_tag: Any) -> None:
    file = io.BytesIO()
    with pytest.raises(LabelError) as caught:
        pdf.tags(file, PRESETS["roll-50x25"], [make_tag(random.Random(7))])
    assert caught.value.code == "label-too-small"
    assert "letter-2x5" in caught.value.remedy
    assert "roll-57x32" not in caught.value.remedy
    assert file.getvalue() == b""


@pytest.mark.parametrize(
    ("changes", "dots", "code"),
    [
        ({}, 9, "module-dots"),
        ({}, 100, "module-dots"),
        ({}, 20, "label-too-small"),
        ({"programme": "A programme with far too many words " * 5}, None, "text-too-long"),
        ({"programme": "Heu 干草"}, None, "text-characters"),
        ({"phone": "555\n0142"}, None, "text-characters"),
        ({"bag_url": "https://lower.example"}, None, "qr-characters"),
    ],
)
def test_a_tag_that_cannot_be_printed_well_is_refused(
    changes: dict[str, str], dots: int | None, code: str, make_tag: Any
) -> None:
    file = io.BytesIO()
    with pytest.raises(LabelError) as caught:
        pdf.tags(file, PRESETS["letter-2x5"], [make_tag(random.Random(8), **changes)], dots=dots)
    assert caught.value.code == code
    assert file.getvalue() == b""
