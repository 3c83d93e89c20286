"""The tags that a technician carries: made void and brought back out of signal, and what the office has of it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page

from tests.makers import BASE, act
from tests.web.field.conftest import Phone, entries, settled
from tests.web.field.test_pages import bagged, tap
from tests.web.field.test_scanning import CODE
from tracker.lookups.tag_rolls import rolls
from tracker.steps.issue_tags import issue_tags
from tracker.steps.print_tags import print_tags
from tracker.storage.engine import Database
from tracker.storage.people import party


@pytest.fixture
def codes(season: Database) -> list[str]:
    """A roll of five, of which Tove was given the second, the third and the fifth."""
    with season.act("print", "tove", {}) as session:
        run, printed = print_tags(
            session, [None] * 5, act(session, "carl", 6), base_url=BASE, layout={"stock": "roll"}
        )
        for first, last in ((2, 3), (5, 5)):
            issue_tags(session, run.id, first, last, party(session, "tove"), act(session, "carl", 7))
        return [one.tag.code for one in printed]


@pytest.fixture
def away(codes: list[str], phone: Phone) -> Iterator[tuple[Phone, Page]]:
    phone.ready()
    phone.between.cut = True
    yield phone, phone.open("tags")


def typed(page: Page, code: str) -> None:
    page.fill("#typed", code)
    page.press("#typed", "Enter")
    tap(page, "#take")


def carried(season: Database) -> dict[str, int]:
    """Of the one roll: how many tags are void, in the office, and with Tove."""
    with season.read() as session:
        (roll,) = rolls(session)
    return {"void": roll.void, "office": roll.in_office, "tove": sum(map(len, roll.carried.values()))}


def test_a_lost_tag_is_made_void_and_the_rest_brought_back_out_of_signal(
    away: tuple[Phone, Page], codes: list[str], season: Database
) -> None:
    phone, page = away
    page.locator("#mine", has_text="You carry 3 unused tags.").wait_for()
    page.locator("#mine", has_text="Run 1: 2 to 3, 5").wait_for()
    tap(page, "#way-void")
    tap(page, "#save")
    page.locator("#fault", has_text="No tag is on the list").wait_for()
    typed(page, codes[1])
    tap(page, "#save")
    page.locator("#fault", has_text="what happened to the tag").wait_for()
    assert entries(page) == []
    page.fill("#reason", "fell into the mud")
    tap(page, "#save")
    page.locator("#sign", has_text="Cut them up").wait_for()
    page.locator("#mine", has_text="You carry 2 unused tags.").wait_for()
    tap(page, "#way-back")
    assert page.locator("#why").is_hidden()
    tap(page, "#all")
    tap(page, "#save")
    page.locator("#mine", has_text="You carry 0 unused tags.").wait_for()
    assert [(one["kind"], one["payload"], one["how"]) for one in entries(page)] == [
        ("void tag", {"code": codes[1], "reason": "fell into the mud"}, "typed"),
        ("count in", {"codes": [codes[2], codes[4]]}, None),
    ]
    assert carried(season) == {"void": 0, "office": 2, "tove": 3}
    phone.between.cut = False
    page.goto(f"{phone.address}/field/unsent")
    settled(page)
    assert {one["state"] for one in entries(page)} == {"office"}, page.locator("#refused").inner_text()
    assert carried(season) == {"void": 1, "office": 4, "tove": 0}


def test_a_tag_on_a_bag_or_void_already_is_not_taken(away: tuple[Phone, Page], codes: list[str]) -> None:
    phone, page = away
    bagged(page)
    page.goto(f"{phone.address}/field/tags")
    tap(page, "#way-void")
    typed(page, CODE)
    page.locator("#sign", has_text="on the bag of Long field, cutting 2. Open that lot's bag").wait_for()
    typed(page, codes[1])
    page.fill("#reason", "torn")
    tap(page, "#save")
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    tap(page, "#way-back")
    typed(page, codes[1])
    page.locator("#sign", has_text="void already").wait_for()
    assert page.locator("#tags input:checked").count() == 0


def test_a_tag_that_nobody_was_given_is_not_brought_back(away: tuple[Phone, Page], codes: list[str]) -> None:
    _, page = away
    page.evaluate(
        """async (code) => {
          const store = await import("/static/field/store.js");
          const given = (tag) => (tag.code === code ? { ...tag, state: "printed", issued_to: null } : tag);
          await store.change("pack", (pack) => ({ ...pack, tags: pack.tags.map(given) }));
        }""",
        codes[2],
    )
    page.reload()
    page.locator("#mine", has_text="You carry 2 unused tags.").wait_for()
    tap(page, "#way-back")
    typed(page, codes[2])
    page.locator("#sign", has_text="not given out to anybody").wait_for()
    assert page.locator("#tags input:checked").count() == 0


def test_trying_again_after_a_fault_makes_no_tag_void_twice(
    away: tuple[Phone, Page], codes: list[str]
) -> None:
    _, page = away
    tap(page, "#way-void")
    for code in (codes[1], codes[2]):
        typed(page, code)
    page.fill("#reason", "fell into the mud")
    # The phone's store fails at the second entry, once.
    page.evaluate(
        """() => { const put = IDBObjectStore.prototype.add; let done = 0;
          IDBObjectStore.prototype.add = function (...given) {
            if (given[0]?.kind === "void tag" && ++done === 2) throw new DOMException("full", "QuotaExceededError");
            return put.apply(this, given);
          }; }"""
    )
    tap(page, "#save")
    page.locator("#sign", has_text="Not saved").wait_for()
    page.wait_for_timeout(350)
    tap(page, "#save")
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    assert [one["payload"]["code"] for one in entries(page)] == [codes[1], codes[2]]
