"""The page about the phone itself: secure, installed, kept, space, clock; and what works without https."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.web.conftest import sign_in_as
from tests.web.field.conftest import LOT, Phone, enter, phone_of
from tests.web.field.office import Between
from tests.web.field.test_scanning import CODE, png, url
from tests.web.live import chromium
from tracker.web.shared.guard import COOKIE

IPHONE = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) "
    "Version/18.5 Mobile/15E148 Safari/604.1"
)


def checks(page: Page) -> dict[str, tuple[str, str]]:
    """Question -> yes or no, and the words with what to do."""
    page.locator("#checks dd").first.wait_for()
    page.wait_for_timeout(500)
    found: list[list[str]] = (
        page.evaluate("""() => [...document.querySelectorAll("#checks dt")].map((question) => {
      const said = [];
      for (let at = question.nextElementSibling; at?.tagName === "DD"; at = at.nextElementSibling) said.push(at);
      return [question.textContent, said[0].dataset.good, said.map((one) => one.innerText).join(" ")];
    })""")
    )
    return {question: (good, words) for question, good, words in found}


def test_a_phone_that_is_ready_says_so_and_each_no_has_something_to_do(phone: Phone) -> None:
    phone.ready()
    page = phone.open("phone")
    page.get_by_text("Yes, the pages are on this phone").wait_for()
    found = checks(page)
    assert found["Secure address"][0] == found["Opens without a network"][0] == found["Clock"][0] == "yes"
    assert found["Lots, plans and tags"][0] == "yes"
    for question, (good, words) in found.items():
        assert good == "yes" or len(words.split()) > 6, question


def test_asking_to_be_kept_shows_what_the_browser_answers(phone: Phone) -> None:
    phone.context.add_init_script(
        "navigator.storage.persisted = async () => Boolean(window.granted);"
        "navigator.storage.persist = async () => (window.granted = window.willing ?? false);"
    )
    phone.ready()
    page = phone.open("phone")
    page.locator("#persist").click()
    page.locator("#sign", has_text="The browser says no").wait_for()
    page.evaluate("window.willing = true")
    page.wait_for_timeout(350)
    page.locator("#persist").click()
    page.locator("#persist").wait_for(state="detached")
    assert checks(page)["Kept when the phone is short of space"] == ("yes", "Yes")


@pytest.mark.parametrize("standalone", [False, True])
def test_an_iphone_in_a_plain_tab_is_told_of_the_seven_days_and_the_home_screen(
    browser: Browser, office: tuple[str, Between], standalone: bool
) -> None:
    phone = phone_of(browser, office, user_agent=IPHONE)
    phone.context.add_init_script(
        f"Object.defineProperty(navigator, 'standalone', {{ value: {str(standalone).lower()} }});"
    )
    page = phone.open("phone")
    good, words = checks(page)["On the home screen"]
    assert good == ("yes" if standalone else "no")
    assert ("7 days" in words) is not standalone and ("Add to Home Screen" in words) is not standalone
    phone.context.close()


def test_a_slow_clock_is_said_and_goes_along_with_each_entry(phone: Phone) -> None:
    phone.context.add_init_script("const real = Date.now; Date.now = () => real() - 3 * 86400000;")
    phone.ready()
    page = phone.open("phone")
    good, words = checks(page)["Clock"]
    assert good == "no" and words.startswith("3 days slow")
    made = enter(page, "register lot", LOT)
    assert abs(made["clock_offset_ms"] - 3 * 86_400_000) < 5000 and made["clock_jumped"] is False


def test_a_clock_that_is_set_while_the_page_is_open_marks_the_entry(phone: Phone) -> None:
    phone.ready()
    page = phone.open("lot")
    phone.between.cut = True
    assert enter(page, "register lot", LOT)["clock_jumped"] is False
    page.evaluate("const real = Date.now; Date.now = () => real() + 3600000;")
    assert enter(page, "register lot", {**LOT, "cutting": 3})["clock_jumped"] is True


@pytest.fixture
def plain_http(browser: Browser, office: tuple[str, Between]) -> Iterator[Phone]:
    """The same office by a name on the network, without https."""
    address, between = office
    opened = chromium(browser.browser_type, "--host-resolver-rules=MAP office.example 127.0.0.1")
    there = address.replace("localhost", "office.example")
    context = opened.new_context(viewport={"width": 360, "height": 640})
    cookie = sign_in_as(between.app, "tove").get_cookie(COOKIE)
    assert cookie is not None
    context.add_cookies([{"name": COOKIE, "value": cookie.value, "url": there}])
    yield Phone(context, there, between, [])
    opened.close()


def test_without_https_the_pages_say_what_does_not_work_and_nothing_fails(plain_http: Phone) -> None:
    faults: list[str] = []
    page = plain_http.open("phone")
    page.on("pageerror", lambda error: faults.append(str(error)))
    assert page.evaluate("isSecureContext") is False
    found = checks(page)
    assert found["Secure address"][0] == "no" and "https" in found["Secure address"][1]
    assert found["On the home screen"][1].endswith("This needs the secure address first.")
    for path in ("", "lot", "walk", "bag", "hand-over", "tags", "unsent", "paper"):
        page.goto(f"{plain_http.address}/field/{path}")
        page.locator("#outbox", has_not_text="Looking").wait_for()
    assert faults == []


def test_without_https_an_entry_has_a_version_7_id_and_a_photo_of_the_tag_is_read(plain_http: Phone) -> None:
    page = plain_http.open("lot")
    page.locator("#who", has_text="Tove").wait_for()
    made = enter(page, "register lot", LOT)
    assert uuid.UUID(made["event_id"]).version == 7
    page.goto(f"{plain_http.address}/field/hand-over")
    page.locator("#way-out").click()
    page.locator("#typed").wait_for()
    page.locator("#tag-photo").wait_for(state="attached")
    assert re.search("begins with https", page.locator("#no-camera").inner_text())
    page.set_input_files(
        "#tag-photo", png([url(plain_http.address.replace("office.example", "localhost"), CODE)])
    )
    page.locator("#sign", has_text="On the list").wait_for()
