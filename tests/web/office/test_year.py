"""The page of the hay of the year."""

from __future__ import annotations

from tests.makers import START, make_lot, make_plan
from tests.web.conftest import ClientAs
from tracker.steps.add_people import add_producer
from tracker.storage.engine import Database
from tracker.storage.released import keep_released


def grown(season: Database, lots: int) -> None:
    with season.act("make", "tove", {}) as session:
        for number in range(3):
            add_producer(session, name=f"Producer {number}", now=START)
        for number in range(lots):
            lot = make_lot(session, producer=f"Producer {number % 3}", field=f"Field {number}")
            body = {"results": [{"code": "CP", "dm": f"{10 + number}.0"}], "derived": []}
            keep_released(session, make_plan(session, lot.id).id, body)


def test_the_page_shows_a_picture_and_the_same_numbers_under_it(
    season: Database, client_as: ClientAs
) -> None:
    grown(season, 6)
    page = client_as("lena").get("/year?season=2026&by=forage").get_data(True)
    assert "6 lots have a report" in page
    assert "<svg" in page and ">12.5</td>" in page


def test_a_group_too_small_is_named_without_its_numbers(season: Database, client_as: ClientAs) -> None:
    grown(season, 4)
    page = client_as("lena").get("/year").get_data(True)
    assert "Too few lots or producers to show: all hay 2026, alfalfa 2026." in page
    assert "<svg" not in page and "11.5" not in page


def test_an_unknown_grouping_is_the_usual_one_and_a_season_that_is_none_is_said(client_as: ClientAs) -> None:
    assert client_as("lena").get("/year?by=colour").status_code == 200
    assert "soon" in client_as("lena").get("/year?season=soon").get_data(True)
