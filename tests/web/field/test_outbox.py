"""What the technician reads about each entry, and what the phone does with every kind of answer."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.web.field.conftest import ENTRIES, LOT, Phone, enter, entries, phone_of, settled, until
from tests.web.field.office import Between
from tracker.web.shared.guard import COOKIE

HOUR_MS = 3_600_000


@pytest.fixture
def away(phone: Phone) -> Iterator[tuple[Phone, Page]]:
    """A phone with its pack, and the office out of reach."""
    phone.ready()
    phone.between.cut = True
    yield phone, phone.open("unsent")


def back(phone: Phone) -> None:
    phone.between.cut = False


def go(page: Page) -> None:
    """Send, until the office has said anything at all: a line that broke before may break once more."""
    page.evaluate(
        """() => void (async () => {
          const box = await import("/static/field/outbox.js");
          const store = await import("/static/field/store.js");
          for (let tries = 0; tries < 20; tries++) {
            await box.send({ now: true });
            const link = await store.kept("link");
            if (link?.ok || link?.sign_in) return;
            await new Promise((done) => setTimeout(done, 250));
          }
        })()"""
    )


def bar(page: Page) -> str:
    return page.locator("#outbox").inner_text()


def pending(page: Page) -> str:
    return page.locator("#pending").inner_text()


def made_older(page: Page, hours: float) -> None:
    """As if the entries had been made so long ago."""
    page.evaluate(
        """(ms) => import("/static/field/store.js").then(async (store) => {
          const all = (await store.entries()).map((one) => one.event_id);
          await store.changeEntries(all, (one) => ({ ...one, made_at: one.made_at - ms,
            answer: one.answer && { ...one.answer, heard_at: one.answer.heard_at - ms } }));
        })""",
        hours * HOUR_MS,
    )
    page.reload()
    page.locator("#outbox", has_not_text="Looking").wait_for()


def answer_all(**changes: Any) -> Callable[[Any, Any], Any]:
    """The office's answers, changed so; each still under its entry's id."""

    def changed(asked: dict[str, Any], said: dict[str, Any]) -> dict[str, Any]:
        return {**said, "answers": [{**one, **changes} for one in said["answers"]]}

    return changed


def test_an_entry_is_saved_on_this_phone_then_sending_then_with_the_office(
    away: tuple[Phone, Page],
) -> None:
    phone, page = away
    enter(page, "register lot", LOT)
    page.locator("#pending", has_text="Saved on this phone").wait_for()
    assert bar(page).startswith("1 not sent, oldest 0 min")
    back(phone)
    phone.between.delay.clear()
    go(page)
    page.locator("#pending .state", has_text=re.compile("^Sending$")).wait_for()
    phone.between.delay.set()
    page.locator("#sent .state", has_text=re.compile(r"^Office has it, \d\d:\d\d")).wait_for()
    assert bar(page) == "The office has everything"
    assert entries(page)[0]["answer"]["made"]["lot"] == 1


def test_the_entry_that_was_sent_says_who_when_and_by_which_clock(away: tuple[Phone, Page]) -> None:
    phone, page = away
    made = enter(page, "register lot", LOT)
    back(phone)
    go(page)
    settled(page)
    (sent,) = phone.between.posts[-1]["entries"]
    assert sent["event_id"] == made["event_id"] and sent["seq"] == 1 and sent["who"] == "tove"
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d", sent["device_time"])
    assert abs(sent["clock_offset_ms"]) < 2000 and sent["clock_jumped"] is False


def test_a_lost_answer_is_harmless(away: tuple[Phone, Page]) -> None:
    phone, page = away
    enter(page, "register lot", LOT)
    back(phone)
    phone.between.drop = 1.0
    # A line that broke before may break once more without reaching the office.
    for _ in range(20):
        page.locator("#send").click()
        page.locator("#sign", has_text="No answer").wait_for()
        page.wait_for_timeout(400)
        if phone.between.posts:
            break
    assert len(phone.between.kept()) == 1 and "Saved on this phone" in pending(page)
    phone.between.drop = 0.0
    go(page)
    page.locator("#sent", has_text="Office has it").wait_for()
    assert len(phone.between.kept()) == 1 and len(phone.between.posts) > 1


def test_a_page_of_somebody_else_in_place_of_the_office_counts_as_no_network(
    away: tuple[Phone, Page],
) -> None:
    phone, page = away
    enter(page, "register lot", LOT)
    back(phone)
    phone.between.portal = True
    page.locator("#send").click()
    page.locator("#sign", has_text="No answer").wait_for()
    assert "Saved on this phone" in pending(page)
    phone.between.portal = False
    page.wait_for_timeout(400)
    go(page)
    page.locator("#sent", has_text="Office has it").wait_for()


def test_a_sign_in_that_ran_out_keeps_the_entries_and_asks_for_it(away: tuple[Phone, Page]) -> None:
    phone, page = away
    for number in range(4):
        enter(page, "register lot", {**LOT, "field": f"field {number}"})
    (cookie,) = (one for one in phone.context.cookies() if one["name"] == COOKIE)
    phone.context.clear_cookies(name=COOKIE)
    back(phone)
    go(page)
    page.locator("#sign-in", has_text="Sign in to send 4").wait_for()
    page.locator("#send").click()
    page.locator("#sign", has_text="Sign in to send 4").wait_for()
    assert bar(page).startswith("Sign in to send 4")
    assert pending(page).count("Sign in to send 4") == 4
    assert page.locator("#sign-in").get_attribute("href") == "/field/signed-in?to=unsent"
    assert {one["state"] for one in entries(page)} == {"saved"}
    phone.context.add_cookies([cookie])
    page.reload()
    settled(page)
    page.locator("#sent", has_text="Office has it").wait_for()
    assert len(phone.between.kept()) == 4


def test_a_refusal_says_why_and_is_fixed_by_a_new_entry(away: tuple[Phone, Page]) -> None:
    phone, page = away
    enter(page, "register lot", {**LOT, "cutting": 13})
    back(phone)
    go(page)
    page.locator("#refused .state", has_text="Office refused it: 13 is no cutting").wait_for()
    assert bar(page).startswith("1 refused")
    page.wait_for_timeout(350)
    page.get_by_role("button", name="Fix it").click()
    box = page.get_by_label("Cutting", exact=True)
    assert box.get_attribute("aria-invalid") == "true"
    box.fill("3")
    page.get_by_role("button", name="Save it anew").click()
    page.locator("#sent", has_text="Office has it").wait_for()
    first, second = entries(page)
    assert second["payload"] == {**LOT, "cutting": 3, "replaces": first["event_id"]}
    assert first["state"] == "refused" and first["settled"] == "fixed"
    assert bar(page) == "The office has everything"
    page.locator("#refused", has_text="You entered it anew.").wait_for()


def test_a_refusal_may_be_kept_as_a_note(away: tuple[Phone, Page]) -> None:
    phone, page = away
    lot = enter(page, "register lot", LOT)
    enter(page, "core lot", {"lot": {"entry": lot["event_id"]}, "bales": {"900": 1}, "entry": "end"})
    back(phone)
    phone.between.answers = lambda asked, said: {
        **said,
        "answers": [
            {**one, "answer": "refused", "code": "no-such-bale", "words": "Bale 900 is not there."}
            if given["kind"] == "core lot"
            else one
            for one, given in zip(said["answers"], asked["entries"], strict=True)
        ],
    }
    go(page)
    page.locator("#refused", has_text="Bale 900 is not there.").wait_for()
    page.wait_for_timeout(350)
    page.get_by_role("button", name="Keep it as a note").click()
    until(page, f"{ENTRIES}.then((all) => all.length === 3 && all[2].kind === 'note')")
    until(page, f"{ENTRIES}.then((all) => all[1].settled === 'note')")
    note = entries(page)[2]["payload"]
    assert note["about"] == {"entry": lot["event_id"]} and "Bale 900" in note["words"]


def test_later_keeps_the_entry_waiting(away: tuple[Phone, Page]) -> None:
    phone, page = away
    enter(page, "register lot", LOT)
    back(phone)
    phone.between.answers = answer_all(answer="later", received_at=None)
    go(page)
    page.locator("#pending", has_text="The office waits for another entry first").wait_for()
    phone.between.answers = None
    page.wait_for_timeout(400)
    go(page)
    page.locator("#sent", has_text="Office has it").wait_for()


def test_a_duplicate_of_a_refusal_stays_a_refusal(away: tuple[Phone, Page]) -> None:
    phone, page = away
    enter(page, "register lot", LOT)
    back(phone)
    phone.between.answers = answer_all(answer="duplicate", code="not-a-cutting", words="13 is no cutting.")
    go(page)
    page.locator("#refused", has_text="Office refused it: 13 is no cutting.").wait_for()


def test_one_bad_entry_does_not_hold_up_the_others(away: tuple[Phone, Page]) -> None:
    phone, page = away
    for cutting in (1, 13, 2):
        enter(page, "register lot", {**LOT, "cutting": cutting})
    back(phone)
    go(page)
    page.locator("#refused", has_text="13 is no cutting").wait_for()
    settled(page)
    assert [one["state"] for one in entries(page)] == ["office", "refused", "office"]


@pytest.mark.parametrize(
    ("hours", "words", "kind"),
    [(11.9, "oldest 11 h", ""), (12.1, "Over 12 hours old", "caution"), (24.1, "Over a day old", "stop")],
)
def test_the_age_of_what_is_not_sent_is_said_on_every_page(
    away: tuple[Phone, Page], hours: float, words: str, kind: str
) -> None:
    phone, page = away
    enter(page, "register lot", LOT)
    made_older(page, hours)
    for path in ("", "lot", "phone"):
        page.goto(f"{phone.address}/field/{path}")
        page.locator("#outbox", has_text=words).wait_for()
        assert page.locator("#outbox").get_attribute("class") == f"outbox {kind}"


def test_unsent_entries_go_to_a_file_that_is_just_what_would_have_been_sent(
    away: tuple[Phone, Page], tmp_path: Path
) -> None:
    phone, page = away
    made = [enter(page, "register lot", {**LOT, "field": name}) for name in ("Long field", "Road field")]
    with page.expect_download() as caught:
        page.locator("#export").click()
    name = caught.value.suggested_filename
    assert re.fullmatch(r"unsent-[0-9a-f]{8}-\d{8}\.json", name)
    caught.value.save_as(tmp_path / name)
    given = json.loads((tmp_path / name).read_text())
    assert given["marker"] == "hay-field-1"
    assert [one["event_id"] for one in given["entries"]] == [one["event_id"] for one in made]
    back(phone)
    page.wait_for_timeout(400)
    go(page)
    settled(page)
    assert phone.between.posts[-1]["entries"] == given["entries"]
    assert phone.between.posts[-1]["device"] == given["device"]


def test_signing_out_waits_for_what_is_not_sent_or_its_file(away: tuple[Phone, Page]) -> None:
    phone, page = away
    enter(page, "register lot", LOT)
    page.goto(f"{phone.address}/field/phone")
    page.get_by_role("button", name="Sign out on this phone").click()
    page.wait_for_url("**/field/unsent")
    assert len(entries(page)) == 1
    with page.expect_download():
        page.locator("#export").click()
    back(phone)
    phone.between.drop = 1.0
    page.goto(f"{phone.address}/field/phone")
    page.get_by_text("are saved in a file").wait_for()
    page.get_by_role("button", name="Sign out on this phone").click()
    page.locator("#sign", has_text="Signed out").wait_for()
    assert len(entries(page)) == 1


def test_nothing_is_let_go_before_the_office_confirmed_it_and_14_days_passed(
    away: tuple[Phone, Page],
) -> None:
    phone, page = away
    enter(page, "register lot", LOT)
    made_older(page, 30 * 24)
    assert len(entries(page)) == 1
    back(phone)
    go(page)
    settled(page)
    made_older(page, 13.9 * 24)
    page.wait_for_timeout(300)
    assert len(entries(page)) == 1
    made_older(page, 0.2 * 24)
    until(page, f"{ENTRIES}.then((all) => all.length === 0)")


def test_two_tabs_of_one_phone_count_as_one(away: tuple[Phone, Page]) -> None:
    phone, page = away
    other = phone.open("lot")
    for number in range(6):
        enter(page if number % 2 else other, "register lot", {**LOT, "field": f"field {number}"})
    assert [one["seq"] for one in entries(page)] == [1, 2, 3, 4, 5, 6]
    back(phone)
    for tab in (page, other):
        go(tab)
    settled(page)
    sent = [one["seq"] for post in phone.between.posts for one in post["entries"]]
    assert sorted(sent) == [1, 2, 3, 4, 5, 6]


def test_without_web_locks_a_lease_lets_one_send_at_a_time(
    browser: Browser, office: tuple[str, Between]
) -> None:
    phone = phone_of(browser, office)
    phone.context.add_init_script("delete Navigator.prototype.locks;")
    phone.ready()
    phone.between.cut = True
    page, other = phone.open("unsent"), phone.open("lot")
    enter(page, "register lot", LOT)
    page.wait_for_timeout(200)
    back(phone)
    phone.between.delay.clear()
    for tab in (page, other):
        go(tab)
        tab.wait_for_timeout(250)
    phone.between.delay.set()
    settled(page)
    assert len(phone.between.posts) == 1
    phone.context.close()


def test_what_was_entered_for_a_refused_lot_belongs_to_the_lot_entered_anew(
    away: tuple[Phone, Page],
) -> None:
    phone, page = away
    lot = enter(page, "register lot", {**LOT, "cutting": 13})
    picks = [{"bale": bale, "cores": 1} for bale in range(1, 21)]
    ref = {"entry": lot["event_id"]}
    enter(page, "plan coring", {"lot": ref, "seed": 7, "cores": 20, "picks": picks})
    back(phone)
    go(page)
    page.locator("#refused", has_text="13 is no cutting").wait_for()
    page.goto(f"{phone.address}/field/walk?lot={lot['event_id']}")
    page.locator("#tick").wait_for()
    page.goto(f"{phone.address}/field/unsent")
    page.get_by_role("button", name="Fix it").click()
    page.get_by_label("Cutting", exact=True).fill("3")
    page.get_by_role("button", name="Save it anew").click()
    settled(page)
    page.wait_for_timeout(300)
    page.goto(f"{phone.address}/field/walk?lot={lot['event_id']}")
    page.get_by_role("heading", name="Long field, cutting 3").wait_for()
    page.locator("#tick").wait_for()
    assert [one["state"] for one in entries(page)] == ["refused", "office", "office"]
