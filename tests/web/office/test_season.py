"""The pages of a season's plan."""

from __future__ import annotations

import base64
import re

import pytest

from tests.makers import at
from tests.papers.reading import texts
from tests.result_files import Bench, bench, bench_template
from tests.season_makers import make_season
from tests.web.conftest import made_app, sign_in_as

__all__ = ["bench", "bench_template"]
ASKED = "/season/plan?producer=Oda+Meadow&first=2026-11-01&months=3"


@pytest.fixture
def lead(bench: Bench):  # type: ignore[no-untyped-def]
    make_season(bench)
    bench.season.clock = lambda: at(1700)
    return sign_in_as(made_app(bench.season), "lena")


def test_the_first_page_asks_for_whom_and_the_next_offers_the_next_month(lead) -> None:  # type: ignore[no-untyped-def]
    assert "Oda Meadow" in lead.get("/season").get_data(True)
    page = lead.get("/season?producer=Oda+Meadow").get_data(True)
    assert "Plan for Oda Meadow" in page and 'value="2026-07-01"' in page


def test_the_plan_is_shown_in_words_a_picture_and_a_paper(lead) -> None:  # type: ignore[no-untyped-def]
    page = lead.get(ASKED).get_data(True)
    assert "lots, groups and months reckoned" in page
    assert page.count("<svg") >= 2 and "spring cows" in page and "Lost in storing" in page
    assert "Nothing is released of lot" in page and "not veterinary or feeding advice" in page
    found = re.search(r"data:application/pdf;base64,([A-Za-z0-9+/=]+)", page)
    assert found is not None
    assert "Oda Meadow" in texts(base64.b64decode(found.group(1)))[0]


def test_one_lot_a_month_can_be_asked_for(lead) -> None:  # type: ignore[no-untyped-def]
    page = lead.get(f"{ASKED}&one_lot=yes").get_data(True)
    assert "one lot for a group and month" in page and " days and lot" not in page


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ("&months=40", "not-a-season"),
        ("&producer=Nobody", "unknown-producer"),
        ("&first=soon", "not-a-date"),
        ("&offer-1=cheap", "not-a-number"),
        ("&waste=lots", "not-a-number"),
    ],
)
def test_what_cannot_be_planned_is_said_on_the_page(lead, more: str, code: str) -> None:  # type: ignore[no-untyped-def]
    key = more[1:].split("=")[0]
    asked = "&".join(part for part in ASKED.split("&") if not part.startswith(f"{key}=")) + more
    if key == "producer":
        asked = f"/season/plan?first=2026-11-01&months=3{more}"
    page = lead.get(asked).get_data(True)
    assert code in page and "Back" in page
