"""The field's acts from page to page, as a technician does them, and what the office has of them in the end."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.makers import make_tag
from tests.web.field.conftest import LOT, Phone, enter, entries, phone_of, settled, until
from tests.web.field.office import Between
from tests.web.field.test_scanning import CODE, cored
from tracker.domain.coring import bale_picks
from tracker.storage.coring import Sample, samples_of
from tracker.storage.custody import StandingRow
from tracker.storage.engine import Database
from tracker.storage.lots import lot_numbered

PAUSE = 340  # Taps within 300 ms of a change of the screen are none.


@pytest.fixture
def away(phone: Phone) -> Iterator[tuple[Phone, Page]]:
    phone.ready()
    phone.between.cut = True
    yield phone, phone.open()


def kinds(page: Page) -> list[str]:
    return [one["kind"] for one in entries(page)]


def tap(page: Page, selector: str) -> None:
    page.wait_for_timeout(PAUSE)
    page.locator(selector).first.click()


def registered(page: Page, address: str, **changes: str) -> None:
    """A lot by the form, up to the plan's page."""
    page.goto(f"{address}/field/lot")
    given = {"field": "Long field", "cutting": "2", "harvested": "2026-06-01", "bale_count": "42", **changes}
    page.select_option("#producer", "1")
    page.select_option("#forage", "alfalfa")
    page.select_option("#shape", "round")
    for name, value in given.items():
        page.fill(f"#{name}", value)
    page.get_by_role("button", name="Save the lot").click()


def test_a_lot_from_the_stack_to_the_drop_box_out_of_signal(
    away: tuple[Phone, Page], season: Database
) -> None:
    phone, page = away
    with season.act("print", "tove", {}) as session:
        code = make_tag(session)
    registered(page, phone.address)
    page.wait_for_url("**/walk?lot=*")
    tap(page, "text=Make the plan")
    page.locator("#tick").wait_for()
    plan = entries(page)[1]["payload"]
    picks = bale_picks(42, 20, plan["seed"])
    assert plan["picks"] == [{"bale": pick.bale, "cores": pick.cores} for pick in picks]
    for pick in picks[:3]:
        page.locator("#bale-number", has_text=re.compile(f"^{pick.bale}$")).wait_for()
        tap(page, "#tick")
    tap(page, "#undo")
    page.locator("#progress", has_text="2 of 20").wait_for()
    page.reload()
    page.locator("#progress", has_text="2 of 20").wait_for()
    for count in range(18):
        page.locator("#progress", has_text=f"{count + 2} of 20").wait_for()
        tap(page, "#tick")
    page.locator("#finish").wait_for()
    tap(page, "#finish")
    page.fill("#composite", "215.5")
    tap(page, "#save")
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    tap(page, "#to-bag")
    page.fill("#typed", code)
    page.press("#typed", "Enter")
    tap(page, "#take")
    page.locator("#bound").wait_for()
    page.fill("#seal", "s-0042")
    tap(page, "text=Save the seal")
    page.locator("#sign", has_text="Seal S-0042").wait_for()
    page.goto(f"{phone.address}/field/hand-over")
    tap(page, "#way-place")
    page.select_option("#to", "box")
    tap(page, "#save")
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    assert kinds(page) == ["register lot", "plan coring", "core lot", "bag cores", "seal bag", "store"]
    phone.between.cut = False
    page.goto(f"{phone.address}/field/unsent")
    settled(page)
    assert {one["state"] for one in entries(page)} == {"office"}, page.locator("#refused").inner_text()
    with season.read() as session:
        (sample,) = samples_of(session, lot_numbered(session, 1).id)
        standing = session.get_one(StandingRow, sample.id)
        assert (standing.state, standing.code, standing.holder) == ("sealed", code, "box")
        assert session.get_one(Sample, sample.id).lot_id == 1


def test_fewer_cores_than_planned_need_a_reason(away: tuple[Phone, Page]) -> None:
    phone, page = away
    registered(page, phone.address)
    page.wait_for_url("**/walk?lot=*")
    tap(page, "text=Make the plan")
    tap(page, "#tick")
    tap(page, "#stop-here")
    tap(page, "#save")
    page.get_by_text("1 cores were taken and 20 planned. Say in a few words why.").wait_for()
    assert "core lot" not in kinds(page)
    page.fill("#deviations", "the rest is fed")
    tap(page, "#save")
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    cored_ = entries(page)[-1]["payload"]
    assert cored_["deviations"] == ["the rest is fed"] and sum(cored_["bales"].values()) == 1


def test_a_bale_that_cannot_be_cored_is_passed_with_a_word_and_another_taken_for_it(
    away: tuple[Phone, Page],
) -> None:
    phone, page = away
    registered(page, phone.address)
    page.wait_for_url("**/walk?lot=*")
    tap(page, "text=Make the plan")
    page.locator("#tick").wait_for()
    first = int(page.locator("#bale-number").inner_text())
    other = 41 if first != 41 else 40
    tap(page, "#cannot")
    tap(page, "#pass")
    page.get_by_text("Say in a few words why.").wait_for()
    page.fill("#instead", str(other))
    tap(page, ".reason")
    page.locator("#progress", has_text="1 of 20").wait_for()
    assert int(page.locator("#bale-number").inner_text()) != first
    tap(page, "#undo")
    page.locator("#progress", has_text="0 of 20").wait_for()
    assert int(page.locator("#bale-number").inner_text()) == first


def test_two_quick_taps_are_one_core(away: tuple[Phone, Page]) -> None:
    phone, page = away
    registered(page, phone.address)
    page.wait_for_url("**/walk?lot=*")
    tap(page, "text=Make the plan")
    page.locator("#tick").wait_for()
    page.wait_for_timeout(PAUSE)
    page.evaluate("document.getElementById('tick').click(); document.getElementById('tick').click()")
    page.locator("#progress", has_text="1 of 20").wait_for()
    page.evaluate("document.getElementById('tick').click()")
    page.wait_for_timeout(100)
    assert page.locator("#progress").inner_text() == "1 of 20 cores taken"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"field": " "}, "Write the name of the field"),
        ({"cutting": "13"}, "The first cutting of the season is 1"),
        ({"harvested": "2099-01-01"}, "still to come"),
        ({"bale_count": "4o"}, "digits only"),
        ({"bale_lb": "1,100"}, "plain digits"),
        ({"bale_count": "400", "bale_lb": "1200"}, "Register 2 lots of 200, 200 bales"),
    ],
)
def test_what_the_office_would_refuse_is_said_beside_the_stack(
    away: tuple[Phone, Page], changes: dict[str, str], words: str
) -> None:
    phone, page = away
    registered(page, phone.address, **changes)
    page.locator("#fault", has_text=words).wait_for()
    assert entries(page) == []


def bagged(page: Page) -> None:
    key = cored(page)
    enter(page, "bag cores", {"lot": {"entry": key}, "code": CODE})


def test_two_people_with_one_phone_both_sign_and_the_taker_by_his_own_tap(away: tuple[Phone, Page]) -> None:
    phone, page = away
    bagged(page)
    page.goto(f"{phone.address}/field/hand-over")
    tap(page, "#way-here")
    tap(page, "#save")
    page.locator("#fault", has_text="Choose who").wait_for()
    page.select_option("#to", "ulf")
    tap(page, "#save")
    page.locator("#taker", has_text="I am Ulf Brandt and have this bag").wait_for()
    assert "hand over" not in kinds(page)
    tap(page, "#taker")
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    assert entries(page)[-1]["payload"] == {"codes": [CODE], "to": "ulf", "to_signs": True, "receiver": "ulf"}


def test_a_spoilt_tag_gives_way_to_a_fresh_one_with_a_reason(away: tuple[Phone, Page]) -> None:
    phone, page = away
    key = cored(page)
    enter(page, "bag cores", {"lot": {"entry": key}, "code": CODE})
    page.goto(f"{phone.address}/field/bag?lot={key}")
    tap(page, "#replace")
    page.locator("#sign", has_text="Say in a few words").wait_for()
    page.fill("#reason", "torn")
    tap(page, "#replace")
    page.fill("#typed", "E0F14CSE")
    page.press("#typed", "Enter")
    tap(page, "#take")
    page.locator("#bound", has_text="E0F1-4CSE").wait_for()
    assert entries(page)[-1]["payload"] == {"code": "E0F14CSE", "old_code": CODE, "reason": "torn"}


def test_a_carrier_needs_a_waybill(away: tuple[Phone, Page]) -> None:
    phone, page = away
    bagged(page)
    page.goto(f"{phone.address}/field/hand-over")
    tap(page, "#way-carrier")
    page.select_option("#to", "van")
    tap(page, "#save")
    page.locator("#fault", has_text="number of the waybill").wait_for()
    page.fill("#waybill", "W-12")
    tap(page, "#save")
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    assert entries(page)[-1]["payload"] == {"codes": [CODE], "to": "van", "waybill": "W-12"}


def test_the_receiver_signs_on_his_own_phone(
    browser: Browser, office: tuple[str, Between], season: Database
) -> None:
    giver, taker = phone_of(browser, office), phone_of(browser, office, "ulf")
    with season.act("print", "tove", {}) as session:
        code = make_tag(session)
    for phone in (giver, taker):
        phone.ready()
    office[1].cut = True
    page = giver.open()
    registered(page, giver.address)
    page.wait_for_url("**/walk?lot=*")
    tap(page, "text=Make the plan")
    page.locator("#tick").wait_for()
    lot, plan = entries(page)
    ref = {"entry": lot["event_id"]}
    bales = {str(pick["bale"]): pick["cores"] for pick in plan["payload"]["picks"]}
    enter(page, "core lot", {"lot": ref, "bales": bales, "entry": "side"})
    enter(page, "bag cores", {"lot": ref, "code": code})
    page.goto(f"{giver.address}/field/hand-over")
    tap(page, "#way-two")
    page.select_option("#to", "ulf")
    tap(page, "#save")
    page.locator("#sign", has_text="Ulf Brandt confirms on the other phone").wait_for()
    other = taker.open("hand-over")
    tap(other, "#way-receive")
    other.fill("#typed", code)
    other.press("#typed", "Enter")
    tap(other, "#take")
    other.select_option("#to", "tove")
    tap(other, "#save")
    other.locator("#sign", has_text="Saved on this phone").wait_for()
    office[1].cut = False
    # The receiver's phone finds a signal first: the office waits for the giver's word.
    other.goto(f"{taker.address}/field/unsent")
    other.locator("#pending", has_text="The office waits for another entry first").wait_for()
    page.goto(f"{giver.address}/field/unsent")
    settled(page)
    other.wait_for_timeout(PAUSE)
    other.locator("#send").click()
    settled(other)
    with season.read() as session:
        (sample,) = samples_of(session, 1)
        assert session.get_one(StandingRow, sample.id).holder == "ulf"
    for phone in (giver, taker):
        phone.context.close()


def test_a_row_of_a_paper_sheet_is_marked_as_from_paper_with_its_time(away: tuple[Phone, Page]) -> None:
    phone, page = away
    lot = enter(page, "register lot", LOT)
    picks = [{"bale": bale, "cores": 1} for bale in range(1, 21)]
    enter(page, "plan coring", {"lot": {"entry": lot["event_id"]}, "seed": 7, "cores": 20, "picks": picks})
    page.goto(f"{phone.address}/field/paper")
    page.fill("#sheet", "F-12")
    page.fill("#day", "2026-06-20")
    page.fill("#time", "10:40")
    page.select_option("#lot", lot["event_id"])
    page.fill("#cores", "20")
    page.fill("#code", "7k2m-9qxq")
    page.get_by_role("button", name="Save this row").click()
    page.locator("#seen", has_text="7K2M-9QXQ").wait_for()
    assert len(entries(page)) == 2
    tap(page, "#take")
    page.locator("#sign", has_text="from paper").wait_for()
    made = entries(page)[2:]
    assert [one["kind"] for one in made] == ["core lot", "bag cores"]
    for one in made:
        assert one["source"] == "paper" and one["paper"]["form"] == "F-12"
        assert re.match(r"2026-06-20T10:40:00\.000[+-]\d\d:\d\d", one["paper"]["at"])
    assert made[0]["payload"]["bales"] == {str(bale): 1 for bale in range(1, 21)}
    phone.between.cut = False
    page.goto(f"{phone.address}/field/unsent")
    until(page, "document.querySelectorAll('#sent li[data-seq]').length >= 1")
    page.get_by_text("from paper").first.wait_for()
