"""A phone in a field: the office's real pages, a network that a test can cut, and a browser that is signed in."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from tests.web.conftest import sign_in_as
from tests.web.field.office import Between, field_office
from tracker.storage.engine import Database
from tracker.web.shared.guard import COOKIE

LOT = {
    "producer": {"id": 1},
    "field": "Long field",
    "cutting": 2,
    "forage": "alfalfa",
    "harvested": "2026-06-01",
    "shape": "small square",
    "bale_count": 118,
}
# All entries on the phone, in the order of its counter.
ENTRIES = "import('/static/field/store.js').then((store) => store.entries())"


def until(page: Page, expression: str, seconds: float = 30) -> None:
    """Ask the page until it says yes. (Playwright's own waiting needs eval, which our pages forbid.)"""
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, f"not within {seconds} s: {expression}"
        page.wait_for_timeout(40)


@dataclass
class Phone:
    """One browser with a store of its own."""

    context: BrowserContext
    address: str
    between: Between
    requests: list[str]

    def open(self, path: str = "") -> Page:
        """A field page in a tab of its own, drawn from what the phone keeps."""
        page = self.context.new_page()
        page.goto(f"{self.address}/field/{path}")
        page.locator("#outbox", has_not_text="Looking what").wait_for()
        return page

    def ready(self) -> None:
        """One visit with a network: the pack and the pages are on the phone."""
        page = self.open("phone")
        until(page, "navigator.serviceWorker.ready.then((here) => here.active.state === 'activated')")
        page.get_by_text("Free tags:").wait_for()
        page.close()

    def offline(self, cut: bool = True) -> None:
        """Out of signal, or back in it."""
        self.context.set_offline(cut)


def entries(page: Page) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.evaluate(ENTRIES)
    return found


def enter(page: Page, kind: str, payload: dict[str, Any]) -> dict[str, Any]:
    """An entry made by the page's own outbox."""
    made: dict[str, Any] = page.evaluate(
        "([kind, payload]) => import('/static/field/outbox.js').then((box) => box.enter(kind, payload))",
        [kind, payload],
    )
    return made


def settled(page: Page) -> None:
    """Until nothing waits to be sent."""
    until(page, f"{ENTRIES}.then((all) => all.length && all.every((one) => one.state !== 'saved'))")


@pytest.fixture
def office(season: Database) -> Iterator[tuple[str, Between]]:
    """The doors, with the office's clock going as the phone's does."""
    season.clock = lambda: datetime.now(UTC)
    with field_office(season) as found:
        yield found


def phone_of(browser: Browser, office: tuple[str, Between], who: str | None = "tove", **about: Any) -> Phone:
    """A phone of this size and kind in the hands of somebody; who None is nobody signed in."""
    address, between = office
    context = browser.new_context(**{"viewport": {"width": 360, "height": 640}, **about})
    context.set_default_timeout(30_000)
    if who is not None:
        cookie = sign_in_as(between.app, who).get_cookie(COOKIE)
        assert cookie is not None
        context.add_cookies([{"name": COOKIE, "value": cookie.value, "url": address}])
    requests: list[str] = []
    context.on("request", lambda request: requests.append(request.url))
    return Phone(context, address, between, requests)


@pytest.fixture
def phone(browser: Browser, office: tuple[str, Between]) -> Iterator[Phone]:
    found = phone_of(browser, office)
    yield found
    found.context.close()
