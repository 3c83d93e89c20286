"""The page that finds a lot by what is remembered of it."""

from __future__ import annotations

from tests.makers import make_bag, standing
from tests.web.conftest import ClientAs
from tracker.storage.engine import Database


def test_what_is_remembered_leads_to_the_way_of_the_bag(season: Database, client_as: ClientAs) -> None:
    with season.act("make", "tove", {}) as session:
        sample = make_bag(session, field="Orchard")
    code = str(standing(season, sample).code)
    page = client_as("tove").get("/search", query_string={"words": "second cutting orchard"}).get_data(True)
    assert f"/way/{code[:4]}-{code[4:]}" in page
    assert "Oda Meadow, Orchard, cutting 2" in page


def test_nothing_found_says_what_to_try(client_as: ClientAs) -> None:
    page = client_as("carl").get("/search", query_string={"words": "<zebra>"}).get_data(True)
    assert "Nothing fits “&lt;zebra&gt;”" in page and "fewer words" in page


def test_nothing_asked_is_a_form_and_no_complaint(client_as: ClientAs) -> None:
    page = client_as("carl").get("/search").get_data(True)
    assert "Find a lot, a producer or a tag" in page and "Nothing fits" not in page


def test_the_words_of_an_overlong_question_are_cut(client_as: ClientAs) -> None:
    answer = client_as("carl").get("/search", query_string={"words": "a " * 3000})
    assert answer.status_code == 200
