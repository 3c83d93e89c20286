"""The pages of a season's plan."""

from __future__ import annotations

import base64
import re

import pytest
from markupsafe import escape
from sqlalchemy.orm import Session

from tests.makers import act, at, done, everything
from tests.papers.reading import texts
from tests.result_files import Bench, bench, bench_template
from tests.season_makers import make_season
from tests.web.conftest import made_app, sign_in_as
from tracker.lookups.kept_plans import kept_plans
from tracker.papers.season_plan import CAUTIONS
from tracker.steps.add_people import add_producer
from tracker.steps.keep_group import keep_group

__all__ = ["bench", "bench_template"]
ASKED = {"producer": "Oda Meadow", "first": "2026-11-01", "months": "3"}


@pytest.fixture
def lead(bench: Bench):  # type: ignore[no-untyped-def]
    make_season(bench)
    bench.season.clock = lambda: at(1700)
    return sign_in_as(made_app(bench.season), "lena")


def test_the_first_page_asks_for_whom_and_the_next_offers_the_next_month(lead) -> None:  # type: ignore[no-untyped-def]
    assert "Oda Meadow" in lead.get("/season").get_data(True)
    page = lead.get("/season?producer=Oda+Meadow").get_data(True)
    assert "Plan for Oda Meadow" in page and 'value="2026-07-01"' in page


def another_keeper(session: Session) -> None:
    add_producer(session, name="Bo Dale", now=at(0))
    herd = {"kind": "cow", "head": "3", "weight_lb": "1200", "calving": "2027-03-01"}
    keep_group(session, "Bo Dale", "old cows", herd, act(session, "lena", 1690), reason="asked")


def test_what_is_written_stays_while_more_hay_of_others_is_looked_at(lead, bench: Bench) -> None:  # type: ignore[no-untyped-def]
    done(bench.season, another_keeper)
    assert all(name in lead.get("/season").get_data(True) for name in ("Bo Dale", "Oda Meadow"))
    first = lead.get("/season?producer=Bo+Dale").get_data(True)
    (lot, *others) = re.findall(r'name="offer-([0-9]+)"', first)
    written = {"producer": "Bo Dale", "first": "2026-11-01", "months": "4", "waste": "11", "one_lot": "yes"}
    written |= {f"offer-{lot}": "95.50", "offer-99999": "1", "offer-x": "2"}
    # After the last lot only those are left that a price stands beside.
    page = lead.post("/season", data={**written, "after": "[99999]"}).get_data(True)
    assert re.findall(r'name="offer-([0-9]+)" value="([^"]*)"', page) == [(lot, "95.50")]
    assert all(f'value="{one}"' in page for one in ("2026-11-01", "4", "11")) and "checked" in page
    again = lead.post("/season", data=written).get_data(True)
    assert sorted(re.findall(r'name="offer-([0-9]+)"', again)) == sorted([lot, *others])
    assert "More hay of others" not in again and "More producers" not in lead.get("/season").get_data(True)
    assert "not-a-cursor" in lead.get("/season?producer=Bo+Dale&after=[[]]").get_data(True)


def planned(lead, **more: str) -> str:  # type: ignore[no-untyped-def]
    page: str = lead.post("/season/plan", data={**ASKED, **more}).get_data(True)
    return page


def test_the_plan_is_shown_in_words_a_picture_and_a_paper(lead) -> None:  # type: ignore[no-untyped-def]
    page = planned(lead)
    assert "lots, groups and months reckoned" in page
    assert page.count("<svg") >= 2 and "spring cows" in page and "Lost in storing" in page
    assert "Nothing is released of lot" in page and "not veterinary or feeding advice" in page
    assert "Oda Meadow" in texts(paper_in(page))[0]


def paper_in(page: str) -> bytes:
    found = re.search(r"data:application/pdf;base64,([A-Za-z0-9+/=]+)", page)
    assert found is not None
    return base64.b64decode(found.group(1))


def test_one_lot_a_month_can_be_asked_for(lead) -> None:  # type: ignore[no-untyped-def]
    page = planned(lead, one_lot="yes")
    assert "one lot for a group and month" in page and " days and lot" not in page


def test_what_was_planned_is_kept_listed_and_opened_again_as_it_was(lead, bench: Bench) -> None:  # type: ignore[no-untyped-def]
    made = planned(lead, waste="12.5")
    assert "Kept as plan 1" in made
    assert "Plan 1, from 2026-11-01, 3 months" in lead.get("/season?producer=Oda+Meadow").get_data(True)
    page = lead.get("/season/kept/1").get_data(True)
    assert "by Lena Roy" in page and "12.5 %, as asked for" in page
    assert "spring cows" in page and "Rules of feeding and storing" in page
    assert all(str(escape(words)) in page for words in CAUTIONS)
    assert paper_in(page) == paper_in(made)
    assert lead.get("/season/kept/2").status_code == 404


def test_a_kept_plan_is_held_against_today_and_nothing_is_kept_of_the_look(lead, bench: Bench) -> None:  # type: ignore[no-untyped-def]
    planned(lead)
    assert "The same plan comes of it." in lead.get("/season/kept/1/today").get_data(True)

    def later(session: Session) -> None:
        more = {"head": "9"}
        keep_group(
            session, "Oda Meadow", "spring cows", more, act(session, "lena", 1690), reason="bought some"
        )

    done(bench.season, later)
    before = everything(bench.season)
    page = lead.get("/season/kept/1/today").get_data(True)
    assert "group spring cows, head" in page and "<td>2</td><td>9</td>" in page
    assert "short, tons" in page and "count the bales that are left" in page
    assert everything(bench.season) == before


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"months": "40"}, "not-a-season"),
        ({"producer": "Nobody"}, "unknown-producer"),
        ({"first": "soon"}, "not-a-date"),
        ({"offer-1": "cheap"}, "not-a-number"),
        ({"waste": "lots"}, "not-a-number"),
    ],
)
def test_what_cannot_be_planned_is_said_on_the_page_and_nothing_is_kept(  # type: ignore[no-untyped-def]
    lead, bench: Bench, more: dict[str, str], code: str
) -> None:
    page = planned(lead, **more)
    assert code in page and "Back" in page
    with bench.season.read() as session:
        assert kept_plans(session) == ()
