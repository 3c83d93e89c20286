"""The page of a list behind a figure, and the same list for a program."""

from __future__ import annotations

import re
from html import unescape

import pytest

from tests.makers import make_bag
from tests.web.api.conftest import make_program
from tests.web.conftest import ClientAs, made_app
from tracker.lookups.programme import samples
from tracker.storage.engine import Database

LOTS = 55


@pytest.fixture
def season_full(season: Database) -> Database:
    with season.act("make", "tove", {}) as session:
        for number in range(LOTS):
            make_bag(session, field=f"Field {number}")
    return season


def test_a_long_list_goes_on_on_its_next_page_until_all_of_it_was_seen(
    season_full: Database, client_as: ClientAs
) -> None:
    lead, seen = client_as("lena"), []
    address: str | None = "/programme/station:hand-over"
    while address:
        page = lead.get(address).get_data(True)
        seen.append(re.findall(r"Field [0-9]+", page))
        found = re.search(r'rel="next" href="([^"]+)"', page)
        address = unescape(found.group(1)) if found else None
    assert [len(one) for one in seen] == [50, LOTS - 50]
    assert len({field for page in seen for field in page}) == LOTS


@pytest.mark.parametrize(
    "after", ["x", "[]]", "3", "[true]", '["soon", 1]', '["0001-01-01T00:00:00+14:00", 1]']
)
def test_a_page_that_no_page_of_the_list_names_is_refused(
    season_full: Database, client_as: ClientAs, after: str
) -> None:
    page = client_as("lena").get("/programme/station:hand-over", query_string={"after": after})
    assert page.status_code == 422 and "not-a-cursor" in page.get_data(True)


def test_programs_have_the_list_by_page_under_its_heading(season_full: Database) -> None:
    program = make_program(made_app(season_full), "lena")
    rows, after = [], {}
    while True:
        page = program.get("/programme/station:hand-over", limit=20, **after).get_json()
        assert page["heading"] == list(samples.HAY) and "hand-over" in page["name"] and page["words"]
        rows += [tuple(row["cells"]) for row in page["items"]]
        if page["next"] is None:
            break
        after = {"after": page["next"]}
    assert len(set(rows)) == len(rows) == LOTS
