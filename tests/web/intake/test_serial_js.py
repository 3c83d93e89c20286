"""A balance on a serial line, heard by the page in a real browser; the line itself is played by the test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.makers import life, weighed
from tests.web.conftest import made_app, sign_in_as
from tests.web.intake.conftest import Desk
from tests.web.intake.test_weigh import opened
from tests.web.live import serving
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.web.shared.guard import COOKIE

PLAYED = """
const stream = new ReadableStream({ start: (into) => (window.line = into) });
window.opened = [];
const port = { open: async (how) => window.opened.push(how.baudRate), readable: stream };
Object.defineProperty(navigator, "serial", { value: { getPorts: async () => [port] } });
window.send = (text) => window.line.enqueue(new TextEncoder().encode(text));
"""
ABSENT = "delete Navigator.prototype.serial;"


@pytest.fixture
def sample(season: Database, desk: Desk) -> Sample:
    return opened(season)


@pytest.fixture
def address(season: Database, desk: Desk) -> Iterator[str]:
    with serving(season) as found:
        yield found


def bench(browser: Browser, address: str, desk: Desk, sample: Sample, played: str = PLAYED) -> Page:
    """The sack's page on a device beside the serial balance."""
    page = browser.new_page()
    page.add_init_script(played)
    client = sign_in_as(made_app(desk.season, base_url="http://localhost:1"), "carl")
    cookie = client.get_cookie(COOKIE)
    assert cookie is not None
    page.context.add_cookies([{"name": COOKIE, "value": cookie.value, "url": address}])
    page.goto(f"{address}/desk/weigh")
    page.get_by_role("button", name="Balance S1").click()
    page.goto(f"{address}/desk/weigh/{desk.code(sample)}")
    if played == PLAYED:
        page.get_by_text("Listening to the balance.").wait_for()
    return page


def send(page: Page, line: str) -> None:
    page.evaluate("(line) => window.send(line)", f"{line}\r\n")


def test_a_steady_line_is_weighed_by_itself_and_not_taken_for_the_next_weight_too(
    season: Database, desk: Desk, sample: Sample, browser: Browser, address: str
) -> None:
    page = bench(browser, address, desk, sample)
    send(page, "ST,GS,+   18.60 g")
    page.get_by_role("heading", name="Weigh the sack with fresh hay").wait_for()
    assert life(season, sample)[-1].data["raw"] == "ST,GS,+   18.60 g"
    page.get_by_text("Listening to the balance.").wait_for()
    send(page, "ST,GS,+   18.60 g")
    page.get_by_text("Still the last weight").wait_for()
    send(page, "US,GS,+  120.00 g")
    page.get_by_text("Not steady yet.").wait_for()
    assert len(weighed(season, sample)) == 1
    send(page, "ST,GS,+  268.60 g")
    page.get_by_role("heading", name="Ready for the next sack").wait_for()
    assert [str(grams) for _, grams in weighed(season, sample)] == ["18.60", "268.60"]
    page.close()


def test_a_line_that_says_nothing_of_steadiness_must_stand_for_a_second(
    season: Database, desk: Desk, sample: Sample, browser: Browser, address: str
) -> None:
    page = bench(browser, address, desk, sample)
    send(page, "   18.60 g")
    page.get_by_text("Steady? Wait a second").wait_for()
    page.wait_for_timeout(300)
    send(page, "   18.60 g")
    page.wait_for_timeout(200)
    assert weighed(season, sample) == []
    page.wait_for_timeout(700)
    send(page, "   18.60 g")
    page.get_by_role("heading", name="Weigh the sack with fresh hay").wait_for()
    page.close()


def test_what_is_no_weight_is_said_and_not_kept(
    season: Database, desk: Desk, sample: Sample, browser: Browser, address: str
) -> None:
    page = bench(browser, address, desk, sample)
    send(page, "OL,GS,+ 9999.99 g")
    page.get_by_text("the balance is overloaded").wait_for()
    assert page.input_value("#grams") == ""
    assert weighed(season, sample) == []
    page.close()


def test_without_a_serial_line_the_weight_is_typed_twice(
    season: Database, desk: Desk, sample: Sample, browser: Browser, address: str
) -> None:
    page = bench(browser, address, desk, sample, ABSENT)
    assert not page.get_by_role("button", name="Connect the balance").is_visible()
    page.fill("#grams", "18.60")
    page.fill("#again", "18.60")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Weigh the sack with fresh hay").wait_for()
    page.close()


def test_a_balance_that_plays_a_keyboard_weighs_by_its_enter(
    season: Database, desk: Desk, sample: Sample, browser: Browser, address: str
) -> None:
    page = bench(browser, address, desk, sample, ABSENT)
    page.goto(f"{address}/desk/weigh")
    page.select_option("#other", "B1")
    page.get_by_role("button", name="Use it").click()
    page.goto(f"{address}/desk/weigh/{desk.code(sample)}")
    for line, heading in (("18.60", "Weigh the sack with fresh hay"), ("268.60", "Ready for the next sack")):
        page.wait_for_selector("#grams:focus")
        page.keyboard.type(line)
        page.keyboard.press("Enter")
        page.get_by_role("heading", name=heading).wait_for()
    assert [str(grams) for _, grams in weighed(season, sample)] == ["18.60", "268.60"]
    page.close()
