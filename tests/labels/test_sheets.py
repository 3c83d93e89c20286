"""Stock, cells, offsets and rotations."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from labels import LabelError, pdf
from labels.sheet import cells, frame, next_start, scale_fault, transform
from labels.stock import PRESETS, PrinterOffset, Stock, stock_named

LETTER = PRESETS["letter-2x5"]
ROLL = PRESETS["roll-100x50"]
MM = 25.4 / 72
names = st.sampled_from(sorted(PRESETS))


def test_every_preset_keeps_its_labels_on_the_page_and_apart() -> None:
    for stock in PRESETS.values():
        places = cells(stock, stock.per_page)
        assert all(p.x >= 0 and p.x + p.w <= stock.page_w + 0.1 for p in places), stock.name
        assert all(p.y >= 0 and p.y + p.h <= stock.page_h + 0.1 for p in places), stock.name


@pytest.mark.parametrize(
    ("name", "number", "x", "y"),
    # From public template files, rounded to 0.1 mm: first label plus whole pitches.
    [
        ("letter-3x10", 30, 145.2, 241.3),
        ("letter-2x5", 4, 110.5, 63.5),
        ("a4-3x7", 21, 139.5, 244.1),
        ("a4-2x4", 8, 106.3, 216.1),
    ],
)
def test_a_cell_lies_where_the_template_says(name: str, number: int, x: float, y: float) -> None:
    (cell,) = cells(PRESETS[name], 1, start=number)
    assert (round(cell.x, 1), round(cell.y, 1)) == (x, y)


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"left": 8.5}, "stock-overflow", "page_w"),
        ({"rows": 6}, "stock-overflow", "page_h"),
        ({"pitch_x": 101.4}, "stock-overlap", "pitch_x"),
        ({"pitch_y": 50.0}, "stock-overlap", "pitch_y"),
        ({"left": -1.0}, "stock-size", "left"),
        ({"label_w": float("nan")}, "stock-size", "label_w"),
        ({"top": float("inf")}, "stock-size", "top"),
        ({"columns": 0}, "stock-size", "columns"),
        ({"dpi": 0}, "stock-dpi", "dpi"),
    ],
)
def test_a_grid_that_cannot_be_is_refused(changes: dict[str, Any], code: str, field: str) -> None:
    with pytest.raises(LabelError) as caught:
        replace(LETTER, **changes)
    assert (caught.value.code, caught.value.field) == (code, field)


def test_an_unknown_stock_names_those_there_are() -> None:
    with pytest.raises(LabelError) as caught:
        stock_named("legal-1x1")
    assert "letter-2x5" in caught.value.remedy


def test_printing_starts_at_the_first_free_cell_and_leaves_out_spoilt_ones() -> None:
    used = cells(LETTER, 12, start=3, skip=(4, 7))
    assert [(cell.page, cell.number) for cell in used] == [
        *((1, number) for number in (3, 5, 6, 8, 9, 10)),
        # The second sheet is a whole one, so its cells 4 and 7 are good.
        *((2, number) for number in (1, 2, 3, 4, 5, 6)),
    ]
    assert next_start(LETTER, used) == 7


def test_a_first_page_without_a_free_cell_is_not_fed() -> None:
    assert [(c.page, c.number) for c in cells(LETTER, 1, start=10, skip=(10,))] == [(1, 1)]


@given(names, st.integers(1, 60), st.data())
def test_no_cell_is_used_twice_and_none_is_missing(name: str, count: int, data: st.DataObject) -> None:
    stock = PRESETS[name]
    number = st.integers(1, stock.per_page)
    start, skip = data.draw(number), data.draw(st.sets(number))
    used = [(cell.page, cell.number) for cell in cells(stock, count, start, skip)]
    assert len(set(used)) == count
    assert used == sorted(used)
    free = set(range(start, stock.per_page + 1)) - skip
    if free:
        assert {cell for page, cell in used if page == 1} <= free


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ({"count": 0}, "count"),
        ({"count": 1, "start": 11}, "start-cell"),
        ({"count": 1, "start": 0}, "start-cell"),
        ({"count": 1, "skip": (11,)}, "skip-cell"),
        ({"count": 1, "offset": PrinterOffset(0, -10)}, None),
        ({"count": 1, "offset": PrinterOffset(9.9, 0)}, "printer-offset"),
    ],
)
def test_cells_that_are_not_there_are_refused(asked: dict[str, Any], code: str | None) -> None:
    if code is None:
        assert cells(LETTER, **asked)
        return
    with pytest.raises(LabelError) as caught:
        cells(LETTER, **asked)
    assert caught.value.code == code


@pytest.mark.parametrize("value", [10.1, -10.1, float("nan")])
def test_an_offset_beyond_ten_millimetres_is_refused(value: float) -> None:
    with pytest.raises(LabelError) as caught:
        PrinterOffset(x=value)
    assert caught.value.code == "printer-offset"


@given(names, st.sampled_from((0, 90, 180, 270)), st.data())
def test_a_rotated_label_still_fills_its_own_cell(name: str, rotation: int, data: st.DataObject) -> None:
    stock = PRESETS[name]
    (cell,) = cells(stock, 1, start=data.draw(st.integers(1, stock.per_page)))
    w, h = frame(stock, rotation)
    a, b, c, d, e, f = transform(stock, cell, rotation)
    corners = [(a * x + c * y + e, b * x + d * y + f) for x, y in ((0, 0), (w, h))]
    xs, ys = sorted(x for x, _ in corners), sorted(y for _, y in corners)
    assert xs == pytest.approx([cell.x, cell.x + cell.w])
    assert ys == pytest.approx([stock.page_h - cell.y - cell.h, stock.page_h - cell.y])


def test_a_rotation_turns_the_printing_clockwise() -> None:
    (cell,) = cells(ROLL, 1)
    # The top of the label as its reader holds it: middle of the upper edge in the reader's frame.
    tops = {}
    for rotation in (0, 90, 180, 270):
        w, h = frame(ROLL, rotation)
        a, b, c, d, e, f = transform(ROLL, cell, rotation)
        tops[rotation] = (a * w / 2 + c * h + e, b * w / 2 + d * h + f)
    assert tops == {0: (50, 50), 90: (100, 25), 180: (50, 0), 270: (0, 25)}
    with pytest.raises(LabelError):
        frame(ROLL, 45)


def _outlines(data: bytes, line_pt: float) -> list[tuple[float, float, float, float]]:
    """Boxes of the paths on the first page: left, top, width, height in mm from the top left.

    pdfium widens the bounds of a stroked path by the line's width on each side.
    """
    document = pypdfium2.PdfDocument(data)
    page = document[0]
    boxes = []
    for item in page.get_objects(filter=(pypdfium2.raw.FPDF_PAGEOBJ_PATH,)):
        left, bottom, right, top = item.get_bounds()
        boxes.append(
            (
                (left + line_pt) * MM,
                (page.get_height() - top + line_pt) * MM,
                (right - left - 2 * line_pt) * MM,
                (top - bottom - 2 * line_pt) * MM,
            )
        )
    document.close()
    return boxes


@pytest.mark.parametrize("name", sorted(PRESETS))
def test_the_test_page_shows_every_cell_within_a_tenth_of_a_millimetre(name: str, printed: Any) -> None:
    stock = PRESETS[name]
    offset = PrinterOffset(0.5, -0.4)
    boxes = _outlines(printed(pdf.calibration_page, stock, offset=offset), pdf.THIN_PT)
    for place, cell in zip(boxes, cells(stock, stock.per_page, offset=offset), strict=False):
        assert place == pytest.approx((cell.x, cell.y, cell.w, cell.h), abs=0.1)


@pytest.mark.parametrize(("name", "length"), [("letter-2x5", 100), ("a4-2x4", 100), ("roll-100x50", 40)])
def test_the_test_page_has_a_bar_of_known_length_each_way(name: str, length: float, printed: Any) -> None:
    boxes = _outlines(printed(pdf.calibration_page, PRESETS[name]), 1.5)
    assert any(abs(w - length) < 0.1 and abs(h) < 0.1 for _, _, w, h in boxes)
    assert any(abs(h - length) < 0.1 and abs(w) < 0.1 for _, _, w, h in boxes)


@pytest.mark.parametrize("stock", [LETTER, ROLL])
def test_the_test_page_says_what_to_do(stock: Stock, printed: Any) -> None:
    document = pypdfium2.PdfDocument(printed(pdf.calibration_page, stock))
    words = document[0].get_textpage().get_text_range()
    assert stock.name in words
    assert "Actual size" in words


def test_a_bar_off_by_more_than_half_a_percent_betrays_scaling() -> None:
    assert scale_fault(100, 99.5) is None
    assert scale_fault(100, 97) == -3
    assert scale_fault(100, 100.6) == pytest.approx(0.6)
