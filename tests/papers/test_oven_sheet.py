"""The oven sheet, read back from its PDF."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from decimal import Decimal

import pytest

from tests.papers.reading import stray, texts
from tracker.domain.grinding import SAFETY
from tracker.errors import Refused
from tracker.lookups.oven_load import Load, Sack
from tracker.papers.oven_sheet import oven_sheet

CDT = timezone(timedelta(hours=-5))


def make_load(count: int = 3, **changes: object) -> Load:
    lines = tuple(
        Sack(number, f"3R71-XZ{number:02d}", 40 + number, Decimal("18.2")) for number in range(count, 0, -1)
    )
    load = Load("15 Jun A", "oven 2", Decimal(55), datetime(2026, 6, 15, 10, 20, tzinfo=CDT), sacks=lines)
    return replace(load, **changes)  # type: ignore[arg-type]


def printed(load: Load, paper: str = "a4") -> bytes:
    file = io.BytesIO()
    pages = oven_sheet(file, load, paper)
    assert pages == len(texts(file.getvalue()))
    return file.getvalue()


def test_the_sheet_names_load_oven_setting_and_time() -> None:
    (page,) = texts(printed(make_load()))
    for words in ("Oven load 15 Jun A", "oven 2, set to 55 °C", "3 sacks", "15 Jun 2026, 10:20 (UTC-05:00)"):
        assert words in page


def test_the_sacks_stand_by_their_place_with_known_weights() -> None:
    sacks = (
        Sack(2, "8CMT-YHRT", 7, Decimal("18.25"), Decimal("218.30"), None),
        Sack(1, "3R71-XZ15", 12, Decimal("18.20"), Decimal("218.20"), Decimal("198.40")),
    )
    (page,) = texts(printed(make_load(sacks=sacks)))
    assert "1 3R71-XZ15 12 18.20 218.20 198.40 2 8CMT-YHRT 7 18.25 218.30 Signed" in page


def test_the_safety_lines_stand_on_the_first_page_before_the_sacks() -> None:
    page = texts(printed(make_load(40)))[0]
    for finding in SAFETY["oven"]:
        assert 0 < page.index(finding.words) < page.index("3R71-XZ01")


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("count", [0, 1, 17, 18, 19, 60])
def test_any_number_of_sacks_fits_with_header_and_page_numbers(count: int, paper: str) -> None:
    pdf = printed(make_load(count), paper)
    pages = texts(pdf)
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "Tare g Fresh g Dry g" in page or "3R71-XZ" not in page
    words = " ".join(pages)
    assert all(words.count(f"3R71-XZ{number:02d}") == 1 for number in range(1, count + 1))
    assert "Out by" in pages[-1] and "Dry weighed by" in pages[-1]
    assert stray(pdf) == []


def test_due_and_out_are_said_only_when_known() -> None:
    before, after = (
        texts(printed(make_load())),
        texts(
            printed(
                make_load(
                    due_at=datetime(2026, 6, 17, 10, 20, tzinfo=CDT),
                    out_at=datetime(2026, 6, 17, 11, 5, tzinfo=CDT),
                )
            )
        ),
    )
    assert "Due out" not in before[0]
    assert "Due out not before 17 Jun 2026, 10:20" in after[0] and "Out 17 Jun 2026, 11:05" in after[0]


def test_the_same_load_gives_the_same_bytes() -> None:
    assert printed(make_load(30)) == printed(make_load(30))


def test_an_unknown_paper_is_refused_before_anything_is_written() -> None:
    file = io.BytesIO()
    with pytest.raises(Refused) as refused:
        oven_sheet(file, make_load(), "a3")
    assert refused.value.code == "unknown-paper" and file.getvalue() == b""
