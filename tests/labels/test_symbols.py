"""QR symbols: size, mode, module size, damage."""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reportlab.pdfgen.canvas import Canvas

from labels import LabelError, document, qr

TOKEN_URL = "HTTPS://HAY.EXAMPLE.EDU/T/0123456789ABCDEFGHJKMNPQRS"


@pytest.mark.parametrize(
    ("length", "level", "modules"),
    # Agreed by qrcode 8.2 and segno 1.6.6 for upper-case text; ISO/IEC 18004 alphanumeric capacities.
    [(46, "M", 29), (48, "Q", 33), (52, "H", 37), (60, "H", 37), (64, "H", 37), (65, "H", 41), (35, "H", 29)],
)
def test_upper_case_addresses_take_the_known_versions(length: int, level: str, modules: int) -> None:
    text = TOKEN_URL.ljust(length, "0")[:length]
    assert len(qr.matrix(text, level)) == modules


def test_a_wished_version_is_kept_or_refused() -> None:
    assert len(qr.matrix("3R71XZ15", "H", 5)) == 37
    with pytest.raises(LabelError) as caught:
        qr.matrix(TOKEN_URL, "H", 3)
    assert caught.value.code == "qr-too-long"


@pytest.mark.parametrize("text", ["https://x", "A_B", "Ä", ""])
def test_text_outside_alphanumeric_mode_is_refused(text: str) -> None:
    with pytest.raises(LabelError) as caught:
        qr.matrix(text)
    assert caught.value.code == "qr-characters"


def test_a_made_up_token_of_noughts_is_refused_by_name() -> None:
    with pytest.raises(LabelError) as caught:
        qr.matrix("HTTPS://HAY.EXAMPLE.EDU/T/" + "0" * 26)
    assert caught.value.code == "qr-noughts"


def test_text_longer_than_any_symbol_and_unknown_levels_are_refused() -> None:
    with pytest.raises(LabelError) as caught:
        qr.matrix("A" * 5000)
    assert caught.value.code == "qr-too-long"
    with pytest.raises(LabelError) as caught:
        qr.matrix("A", "X")
    assert caught.value.code == "qr-level"


def test_modules_are_whole_dots_of_readable_size() -> None:
    assert qr.module_mm(203, 4) == 0.5
    assert round(qr.module_mm(300, 5), 3) == 0.423
    assert [qr.fewest_dots(dpi) for dpi in (203, 300, 600)] == [4, 5, 10]
    assert round(qr.side_mm(37, 0.5), 2) == 22.5  # version 5 with its quiet zone, as measured


@given(st.text("0123456789ABCDEFGHJKMNPQRSTVWXYZ", min_size=1, max_size=40))
@settings(max_examples=25)
def test_the_rectangles_cover_the_dark_modules_once_and_nothing_else(text: str) -> None:
    grid = qr.matrix(text)
    covered = [
        (x, y)
        for column, row, columns, rows in qr.rectangles(grid)
        for x in range(column, column + columns)
        for y in range(row, row + rows)
    ]
    dark = {(x, y) for y, row in enumerate(grid) for x, module in enumerate(row) if module}
    assert len(covered) == len(dark)
    assert set(covered) == dark


def _one_symbol(file: Any, grid: qr.Matrix, module: float) -> None:
    side = qr.side_mm(len(grid), module)
    canvas = Canvas(file, pagesize=(side * 72 / 25.4, side * 72 / 25.4))
    qr.draw(canvas, grid, 0, side, module)
    canvas.showPage()
    canvas.save()


def _clear_of_finders(x: float, y: float, side: float, modules: int) -> bool:
    corners = ((0, 0), (modules - 8, 0), (0, modules - 8))
    return all(x + side <= cx or cx + 8 <= x or y + side <= cy or cy + 8 <= y for cx, cy in corners)


@pytest.mark.parametrize("text", [TOKEN_URL, TOKEN_URL[:34]])
def test_a_patch_over_a_tenth_of_the_symbol_is_read_20_times_of_20(
    text: str, printed: Any, rasters: Any
) -> None:
    grid, module = qr.matrix(text), qr.module_mm(203, 4)
    modules, read = len(grid), 0
    (clean,) = rasters(printed(_one_symbol, grid, module), 203.2)
    side = (modules**2 / 10) ** 0.5
    for seed in range(20):
        rng = random.Random(seed)
        while True:
            x, y = rng.uniform(0, modules - side), rng.uniform(0, modules - side)
            if _clear_of_finders(x, y, side, modules):
                break
        hurt = type(clean)(clean.width, clean.height, bytearray(clean.pixels))
        shade = rng.choice((0, 255))
        left, width = round((x + qr.QUIET) * 4), round(side * 4)
        for line in range(round((y + qr.QUIET) * 4), round((y + qr.QUIET + side) * 4)):
            start = line * hurt.width + left
            hurt.pixels[start : start + width] = bytes([shade]) * width
        assert hurt.pixels != clean.pixels
        read += [found.text for found in hurt.decoded()] == [text]
    assert read == 20


LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"


def whole(symbol: qr.Modules) -> qr.Matrix:
    """Own and fixed parts laid over one another, as they are printed; what fills a row up must be light."""
    found = []
    width = -(-symbol.side // 8)
    for begin in range(0, len(symbol.rows), width):
        line = "".join(
            f"{own & fixed:08b}"
            for own, fixed in zip(
                symbol.rows[begin : begin + width],
                symbol.fixed[begin : begin + width] or b"\xff" * width,
                strict=True,
            )
        )
        assert set(line[symbol.side :]) <= {"1"}
        found.append(tuple(bit == "0" for bit in line[: symbol.side]))
    return tuple(found)


@pytest.mark.parametrize("level", ["L", "M", "Q", "H"])
def test_symbols_made_side_by_side_are_those_that_the_library_makes(level: str) -> None:
    # qrcode 8 scores masks as ISO/IEC 18004, 7.8.3 says; every module, the mask among them, must be its own.
    rng = random.Random(level)
    lengths = (1, 2, 7, 20, 35, 46, 52, 53, 60, 65, 80, 100, 130, 200)
    texts = ["".join(rng.choices(LETTERS, k=length)) for length in lengths for _ in range(3)]
    alone = [qr.matrix(text, level) for text in texts]
    assert [whole(qr.packed(grid)) for grid in alone] == alone
    qr.prepare(texts, level)
    assert [whole(qr._prepared[text, level]) for text in texts] == alone
    assert [whole(qr.modules(text, level)) for text in texts] == alone


def test_the_addresses_of_a_whole_run_are_those_that_the_library_makes() -> None:
    rng = random.Random(8)
    texts = [TOKEN_URL[:-26] + "".join(rng.choices(LETTERS[:36], k=26)) for _ in range(100)]
    alone = [qr.matrix(text) for text in texts]
    qr.prepare(texts)
    assert [whole(qr._prepared[text, "H"]) for text in texts] == alone
    assert len({qr._prepared[text, "H"].fixed for text in texts}) == 1


def test_what_cannot_be_made_side_by_side_is_left_to_be_refused() -> None:
    qr.prepare(["", "https://x", "0" * 40, "A" * 5000, "FINE"])
    assert set(qr._prepared) == {("FINE", "H")}
    with pytest.raises(LabelError):
        qr.modules("https://x")


def test_a_symbol_too_wide_to_be_made_side_by_side_is_made_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    text = "A" * 300
    monkeypatch.setattr(qr, "LONGEST_PREPARED", 300)
    qr.prepare([text, "FINE"])
    assert set(qr._prepared) == {("FINE", "H")}
    assert qr.modules(text).side == len(qr.matrix(text)) > 64


@pytest.mark.parametrize("times", [1, 2, 3])
def test_every_module_of_a_picture_is_its_own_dots_and_on_finer_printers_one_dot_off_at_most(
    times: int, printed: Any, rasters: Any
) -> None:
    # Five inches are a whole number of dots of a 203 dpi printer (8 to the mm), and of its multiples.
    size, mm = (360.0, 360.0), 127.0
    grid, module = qr.matrix(TOKEN_URL), qr.module_mm(203, 4)
    qr.prepare([TOKEN_URL])
    content = b"\n".join(
        qr.pictures(qr.modules(TOKEN_URL), 10, mm - 10 - qr.side_mm(len(grid), module), module)
    )
    (page,) = rasters(printed(document.write, "x", size, [content], (size, b"")), 203.2 * times)
    assert page.width == page.height == 1016 * times
    dots, begin, edge = 4 * times, (80 + 4 * qr.QUIET) * times, times > 1
    inner = range(edge, dots - edge)
    for y, row in enumerate(grid):
        for x, dark in enumerate(row):
            left, top = begin + x * dots, begin + y * dots
            block = {page.at(left + dx, top + dy) for dx in inner for dy in inner}
            assert block == {0 if dark else 255}, (x, y)
