"""The field's pages in gloves and sun: targets, contrast, no sideways scroll, what axe finds, in both schemes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.web.axe import SCHEMES, complaints
from tests.web.field.conftest import LOT, Phone, enter, phone_of
from tests.web.field.office import Between
from tests.web.field.test_scanning import CODE, OTHER_CODE, cored

# Everything that is tapped or typed in; what is outside main is tapped too.
TARGETS = (
    "main button, main input:not([type=hidden], [type=checkbox], [type=radio], [type=file]), main select, "
    "main textarea, main a.next, main ul.acts a, main .tick, main .photo, a.outbox, .way-back a"
)


def steps(page: Page, address: str) -> Iterator[str]:
    """Every page, and what each turns into as it is worked with; the page stands there when the name comes."""
    for path in ("", "lot", "paper", "phone"):
        page.goto(f"{address}/field/{path}")
        page.locator("#outbox", has_not_text="Looking").wait_for()
        yield path or "today"
    page.get_by_role("button", name="Save the name").click()
    yield "phone, a name saved"
    lot = enter(page, "register lot", {**LOT, "shape": "round", "bale_count": 42})["event_id"]
    page.goto(f"{address}/field/lot")
    page.get_by_role("button", name="Save the lot").click()
    page.locator("#fault", has_text="Choose the producer").wait_for()
    yield "lot, refused"
    yield from walking(page, address, lot)
    yield from bagging(page, address)
    page.goto(f"{address}/field/unsent")
    page.locator("#pending li").first.wait_for()
    yield "unsent"
    page.goto(f"{address}/field/")
    page.locator("#lots li").first.wait_for()
    yield "today, with lots"


def walking(page: Page, address: str, lot: str) -> Iterator[str]:
    page.goto(f"{address}/field/walk?lot={lot}")
    page.locator("#plan").wait_for()
    yield "plan"
    page.wait_for_timeout(320)
    page.get_by_role("button", name="Make the plan").click()
    page.locator("#tick").wait_for()
    yield "walk"
    page.wait_for_timeout(320)
    page.locator("#tick").click()
    page.locator("#undo").wait_for()
    yield "walk, one tick"
    page.wait_for_timeout(320)
    page.locator("#cannot").click()
    page.locator("#pass").wait_for()
    yield "a bale passed"
    page.wait_for_timeout(320)
    page.locator(".reason").first.click()
    page.locator("#stop-here").wait_for()
    page.wait_for_timeout(320)
    page.locator("#stop-here").click()
    page.locator("#end").wait_for()
    yield "end of the walk"


def bagging(page: Page, address: str) -> Iterator[str]:
    for code in (CODE, OTHER_CODE):
        page.goto(f"{address}/field/bag?lot={cored(page)}")
        page.locator("#typed").wait_for()
        yield "bag"
        page.fill("#typed", code)
        page.press("#typed", "Enter")
        page.locator("#take").wait_for()
        yield "bag, a typed code"
        page.locator("#take").click()
        page.locator("#bound").wait_for()
        yield "bag, bound"
    page.goto(f"{address}/field/hand-over")
    page.locator("#way-carrier").wait_for()
    yield "hand over"
    page.goto(f"{address}/field/tags")
    page.locator("#way-void").wait_for()
    yield "tags"
    for way in ("void", "back"):
        page.goto(f"{address}/field/tags")
        page.locator(f"#way-{way}").click()
        page.locator("#save").wait_for()
        yield f"tags, {way}"
    for way in ("carrier", "receive"):
        page.goto(f"{address}/field/hand-over")
        page.locator(f"#way-{way}").click()
        page.locator("#save").wait_for()
        yield f"hand over, {way}"
    page.goto(f"{address}/field/hand-over")
    page.locator("#way-here").click()
    page.wait_for_timeout(320)
    page.select_option("#to", "carl")
    page.locator("#save").click()
    page.locator("#taker").wait_for()
    yield "hand over, the other hand"


def opened(browser: Browser, office: tuple[str, Between], **about: Any) -> tuple[Phone, Page]:
    phone = phone_of(browser, office, **about)
    phone.ready()
    phone.between.cut = True
    return phone, phone.open()


def test_nothing_that_axe_finds_and_contrast_of_seven_to_one(
    browser: Browser, office: tuple[str, Between]
) -> None:
    phone, page = opened(browser, office)
    faults: dict[tuple[str, str], list[str]] = {}
    for name in steps(page, phone.address):
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)
            found = complaints(page, enhanced=True)
            if found:
                faults[name, scheme] = found
    phone.context.close()
    assert faults == {}


SMALL = """(targets) => [...document.querySelectorAll(targets)].filter((one) => one.checkVisibility())
  .map((one) => [one.getBoundingClientRect(), one.outerHTML.slice(0, 90)])
  .filter(([box]) => box.height < 71.5 || box.width < 71.5)
  .map(([box, html]) => `${box.width}x${box.height} ${html}`)"""
# Pairs of targets that are nearer than 12 px to each other, where neither holds the other.
NEAR = """(targets) => {
  const all = [...document.querySelectorAll(targets)].filter((one) => one.checkVisibility());
  const boxes = all.map((one) => one.getBoundingClientRect());
  const near = [];
  for (let i = 0; i < all.length; i++) for (let j = i + 1; j < all.length; j++) {
    if (all[i].contains(all[j]) || all[j].contains(all[i])) continue;
    const [a, b] = [boxes[i], boxes[j]];
    const x = Math.max(a.left - b.right, b.left - a.right), y = Math.max(a.top - b.bottom, b.top - a.bottom);
    if (x < 11.5 && y < 11.5) near.push(all[i].outerHTML.slice(0, 70) + " | " + all[j].outerHTML.slice(0, 70));
  }
  return near;
}"""
WIDE = "document.documentElement.scrollWidth > document.documentElement.clientWidth"


# At 200 % zoom a phone of 360 px has 180 of ours left, and its letters are twice as large on the glass.
@pytest.mark.parametrize("width", [360, 320, 180])
def test_controls_are_large_and_apart_and_nothing_scrolls_sideways(
    browser: Browser, office: tuple[str, Between], width: int
) -> None:
    phone, page = opened(browser, office, viewport={"width": width, "height": 640})
    faults: dict[str, list[str]] = {}
    for name in steps(page, phone.address):
        found = ["scrolls sideways"] if page.evaluate(WIDE) else []
        found += page.evaluate(SMALL, TARGETS) + page.evaluate(NEAR, TARGETS)
        if found:
            faults[name] = found
    phone.context.close()
    assert faults == {}
