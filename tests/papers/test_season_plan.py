"""The season plan on paper and its two pictures."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date
from decimal import Decimal as D
from xml.etree import ElementTree

import pytest

from tests.domain.feeding_makers import FEEDS, HAY_A, HAY_B
from tests.papers.reading import stray, texts
from tracker.domain.herd import checked_group
from tracker.domain.season import SeasonPlan, Stack, months_from, plan_season
from tracker.errors import Refused
from tracker.papers.season_picture import lots_drawing, lots_svg, month_words, months_drawing, months_svg
from tracker.papers.season_plan import season_plan, worth

COWS = checked_group(name="spring cows", kind="cow", head=30, weight_lb="1275", calving="2027-03-01")
LOTS = (
    Stack(3, "Mill Piece, cutting 1", HAY_A, 120, D(1000), "barn", date(2026, 7, 1)),
    Stack(8, "Long Acre, cutting 2", HAY_B, 140, D(1000), "outside on ground", date(2026, 8, 1)),
)


@pytest.fixture(scope="module")
def plan() -> SeasonPlan:
    return plan_season(LOTS, [COWS], months_from(date(2026, 11, 1), 6), FEEDS)


@pytest.fixture(scope="module")
def scarce() -> SeasonPlan:
    return plan_season(LOTS[:1], [COWS], months_from(date(2026, 11, 1), 12), FEEDS)


def printed(plan: SeasonPlan, **more: object) -> bytes:
    file = io.BytesIO()
    season_plan(
        file,
        plan,
        producer="Ada Brandt",
        programme="Three Rivers",
        made=date(2026, 10, 3),
        **more,  # type: ignore[arg-type]
    )
    return file.getvalue()


def test_the_paper_says_for_whom_and_what_it_comes_to(plan: SeasonPlan) -> None:
    words = " ".join(texts(printed(plan)))
    for said in ("Season plan of hay", "Ada Brandt", "3 Oct 2026", "Nov 2026 to Apr 2027", "spring cows"):
        assert said in words
    assert "lot 3, Mill Piece, cutting 1" in words and "One more ton saves" in words
    assert "not veterinary or feeding advice" in words


def test_hay_that_is_short_has_a_part_of_its_own(plan: SeasonPlan, scarce: SeasonPlan) -> None:
    words = " ".join(texts(printed(scarce)))
    assert "Hay that is short" in words and "no hay left" in words and "tons less short" in words
    assert "Hay that is short" not in " ".join(texts(printed(plan)))


def test_what_is_left_out_says_why(plan: SeasonPlan) -> None:
    words = " ".join(texts(printed(plan, left_out=[(44, "Nothing is released of it.")], assumed=[3])))
    assert "Lot 44 is left out: Nothing is released of it." in words
    assert "No bale was weighed of lot 3" in words


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_nothing_runs_off_the_paper(plan: SeasonPlan, scarce: SeasonPlan, paper: str) -> None:
    assert stray(printed(plan, paper=paper)) == [] == stray(printed(scarce, paper=paper))


def test_an_unknown_paper_is_refused_and_nothing_is_written(plan: SeasonPlan) -> None:
    with pytest.raises(Refused):
        printed(plan, paper="a0")


def test_the_same_plan_gives_the_same_bytes(plan: SeasonPlan) -> None:
    assert printed(plan) == printed(plan)


def test_each_month_is_parted_as_its_days_are(scarce: SeasonPlan) -> None:
    drawn = months_drawing(scarce)
    parts = [shape for shape in drawn.contents if type(shape).__name__ == "Rect"]
    whole = (drawn.width - parts[0].x) / 12
    fed = sum((float(one.share) for one in scarce.feedings), 0.0)
    filled = sum(part.width for part in parts if part.fillColor is not None)
    assert filled == pytest.approx(fed * whole, rel=1e-6)
    assert sum(part.width for part in parts) == pytest.approx(12 * whole, rel=1e-4)


def test_each_bar_is_as_long_as_its_tons(plan: SeasonPlan) -> None:
    drawn = lots_drawing(plan)
    frames = [s for s in drawn.contents if type(s).__name__ == "Rect" and s.fillColor is None]
    assert frames[0].width * 7 == pytest.approx(6 * frames[1].width)
    assert frames[1].width == pytest.approx(drawn.width)


def test_the_pictures_stand_in_a_page_as_they_are_and_say_themselves_in_words(scarce: SeasonPlan) -> None:
    for picture in (months_svg(scarce), lots_svg(scarce)):
        root = ElementTree.fromstring(picture)
        assert root.get("aria-label") and "style" not in picture and "<script" not in picture
    said = ElementTree.fromstring(months_svg(scarce)).get("aria-label") or ""
    assert "spring cows: Nov 2026 lot 3" in said and "short" in said


def test_a_month_is_told_in_words(plan: SeasonPlan, scarce: SeasonPlan) -> None:
    found = {month_words(plan, COWS, month) for month in plan.months}
    assert found & {"lot 3", "lot 8"}
    assert "short" in {month_words(scarce, COWS, month) for month in scarce.months}


def test_a_ton_more_is_money_or_hay_or_nothing_that_is_known(plan: SeasonPlan, scarce: SeasonPlan) -> None:
    assert worth(scarce.lots[0]).endswith("tons less short")
    assert worth(plan.lots[0]).startswith("$ ")
    assert worth(replace(plan.lots[0], worth=None)) == "–"
