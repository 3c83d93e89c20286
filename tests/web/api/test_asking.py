"""Lists come whole and in order page by page, and what has not changed is not sent again."""

from __future__ import annotations

import json
from base64 import urlsafe_b64encode
from typing import Any

import pytest

from tests.makers import done, everything, made, make_lot, make_plan
from tests.web.api.conftest import Program, ProgramAs
from tracker.storage.engine import Database
from tracker.web.api.entry import ENTRIES


def pages(program: Program, path: str, limit: int, between: Any = None) -> list[dict[str, Any]]:
    found, after = [], {}
    while True:
        page = program.get(path, limit=limit, **after).json
        assert len(page["items"]) <= limit
        found += page["items"]
        if page["next"] is None:
            return found
        after = {"after": page["next"]}
        if between:
            between()


@pytest.fixture
def lots(season: Database) -> int:
    for number in range(7):
        done(season, lambda s, number=number: make_lot(s, field=f"field {number}"))
    return 7


@pytest.mark.parametrize("limit", [1, 2, 3, 7, 8])
def test_the_pages_together_are_the_list_each_item_once(program_as: ProgramAs, lots: int, limit: int) -> None:
    found = pages(program_as("tove"), "/lots", limit)
    assert [one["lot"] for one in found] == list(range(1, lots + 1))


def test_what_is_added_meanwhile_comes_later_and_doubles_nothing(
    season: Database, program_as: ProgramAs, lots: int
) -> None:
    names = iter("abcdefg")

    def add() -> None:
        if name := next(names, None):
            done(season, lambda s: make_lot(s, field=name))

    found = [one["lot"] for one in pages(program_as("tove"), "/lots", 3, add)]
    assert found[:lots] == list(range(1, lots + 1)) and found == sorted(set(found)) and len(found) > lots


def test_a_page_names_the_next_in_its_link_too(program_as: ProgramAs, lots: int) -> None:
    answer = program_as("tove").get("/lots", limit=2)
    assert answer.headers["Link"] == f'</api/v1/lots?limit=2&after={answer.json["next"]}>; rel="next"'


def cursor(*parts: Any) -> str:
    return urlsafe_b64encode(json.dumps(parts).encode()).decode().rstrip("=")


@pytest.mark.parametrize(
    "after",
    [
        "x",
        "W10",
        "bnVsbA",
        "ImEi",
        "🐄",
        cursor("lots"),
        cursor("lots", "a"),
        cursor("lots", 1, 2),
        cursor(1),
    ],
)
def test_what_is_no_cursor_of_this_list_is_refused(program_as: ProgramAs, lots: int, after: str) -> None:
    answer = program_as("tove").get("/lots", after=after)
    assert (answer.status_code, answer.json["code"]) == (422, "not-a-cursor")


def test_a_cursor_of_another_list_is_refused(program_as: ProgramAs, lots: int) -> None:
    program = program_as("lena")
    after = program.get("/lots", limit=1).json["next"]
    assert program.get("/lots", after=after, limit=1).status_code == 200
    answer = program.get("/entries", after=after)
    assert (answer.status_code, answer.json["code"]) == (422, "not-a-cursor")


def test_the_log_comes_in_its_own_order_with_what_belongs_to_each_entry(
    season: Database, program_as: ProgramAs, lots: int
) -> None:
    found = pages(program_as("lena"), "/entries", 3)
    assert [one["entry"] for one in found] == list(range(1, len(found) + 1))
    assert found[-1]["kind"] == "lot registered" and found[-1]["data"]["forage"] == "alfalfa"


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ({"limit": 0}, "limit"),
        ({"limit": 501}, "limit"),
        ({"limit": "two"}, "limit"),
        ({"colour": 1}, "colour"),
    ],
)
def test_a_parameter_that_is_not_described_is_named(
    program_as: ProgramAs, query: dict[str, Any], parameter: str
) -> None:
    answer = program_as("tove").get("/lots", **query)
    assert (answer.status_code, answer.json["code"]) == (422, "not-as-described")
    assert [one["parameter"] for one in answer.json["errors"]] == [parameter]


def test_a_parameter_that_is_there_twice_is_refused(program_as: ProgramAs) -> None:
    program = program_as("tove")
    answer = program.http.get("/api/v1/lots?limit=1&limit=2", headers=program.headers)
    assert (answer.status_code, answer.json["errors"][0]["parameter"]) == (422, "limit")


@pytest.mark.parametrize("path", ["/lots", "/samples/lot 1", "/samples/lot 1/plan", "/openapi.json"])
def test_an_unchanged_answer_is_not_sent_again(season: Database, program_as: ProgramAs, path: str) -> None:
    made(season, make_plan)
    program = program_as("tove")
    first = program.get(path)
    assert first.status_code == 200 and first.headers["Cache-Control"] == "private, no-cache"
    again = program.get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    other = program.get(path, headers={"If-None-Match": '"another"'})
    assert (other.status_code, other.json) == (200, first.json)


def test_a_changed_answer_is_sent_anew(season: Database, program_as: ProgramAs, lots: int) -> None:
    program = program_as("tove")
    tag = program.get("/lots").headers["ETag"]
    done(season, lambda s: make_lot(s, field="one more"))
    assert program.get("/lots", headers={"If-None-Match": tag}).status_code == 200


def test_whoever_only_asks_changes_nothing(season: Database, program_as: ProgramAs) -> None:
    made(season, make_plan)
    program = program_as("lena")
    before = everything(season)
    for entry in ENTRIES:
        path = entry.path.replace("<sample>", "lot 1").replace("<int:lot>", "1").replace("<table>", "lots")
        if not entry.acts and "<" not in path:
            assert program.get(path).status_code in (200, 404, 422), path
    assert everything(season) == before
