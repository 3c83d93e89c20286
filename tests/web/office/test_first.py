"""The first page and the list of producers, in a season with more than a person reads at once."""

from __future__ import annotations

import pytest

from tests.makers import at, done, made, make_plan
from tests.web.conftest import ClientAs
from tracker.lookups import producers
from tracker.steps.add_people import add_producer
from tracker.storage.engine import Database
from tracker.web.office import first


def test_the_first_page_counts_all_that_waits_and_shows_what_waits_longest(
    season: Database, client_as: ClientAs, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in (3, 1, 2):
        made(season, make_plan, field=f"Field {number}", minute=10 * number)
    lena = client_as("lena")
    page = lena.get("/").text
    assert "Each sample that waits" in page and "Field 3" in page
    monkeypatch.setattr(first, "SHOWN", 2)
    page = lena.get("/").text
    assert "The 2 samples that wait longest, of 3" in page
    assert "Field 1" in page and "Field 2" in page and "Field 3" not in page


def test_producers_stand_by_name_a_page_after_the_other(
    season: Database, client_as: ClientAs, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("Bo Hedge", "Ada Hill", "Cy Brook"):
        done(season, lambda s, name=name: add_producer(s, name=name, place="", now=at(0)))
    monkeypatch.setattr(producers.producer_lines, "__defaults__", ((), 2))
    carl = client_as("carl")
    page = carl.get("/producers").text
    assert page.index("Ada Hill") < page.index("Bo Hedge") and "Cy Brook" not in page
    assert "/producers?after=Bo+Hedge" in page or "/producers?after=Bo%20Hedge" in page
    rest = carl.get("/producers?after=Bo+Hedge").text
    assert "Cy Brook" in rest and "Ada Hill" not in rest and "The producers after" not in rest
