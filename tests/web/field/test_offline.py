"""The pages open with no network, entries are on the medium before anything says so, and none is lost or doubled."""

from __future__ import annotations

import os
import shutil
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Playwright, sync_playwright

from tests.web.conftest import sign_in_as
from tests.web.field.conftest import ENTRIES, LOT, Phone, enter, entries, until
from tests.web.field.office import Between
from tracker.web.shared.guard import COOKIE

PAGES = {
    "": "Today",
    "lot": "Register a lot",
    "walk?lot=1": "Coring walk",
    "bag": "Bind the bag",
    "hand-over": "Hand over",
    "unsent": "Not sent yet",
    "phone": "This phone",
    "paper": "From paper",
}


def test_every_field_page_opens_cold_with_no_network_after_one_visit(phone: Phone) -> None:
    phone.ready()
    phone.offline()
    phone.between.cut = True
    for path, title in PAGES.items():
        page = phone.open(path)
        assert page.locator("h1").inner_text() == title
        assert page.locator("noscript").count() == 1
        page.close()
    page = phone.open("bag")
    enter(page, "register lot", LOT)
    page.goto(f"{phone.address}/field/")
    page.get_by_role("link", name="Long field, cutting 2").first.wait_for()
    page.get_by_text("1 not sent").wait_for()


def test_what_is_not_of_the_shell_is_never_kept_by_the_worker(phone: Phone) -> None:
    phone.ready()
    page = phone.open()
    kept = page.evaluate(
        "caches.keys().then((names) => Promise.all(names.map((name) => caches.open(name).then((kept) => kept.keys()))))"
        ".then((all) => all.flat().map((request) => new URL(request.url).pathname))"
    )
    assert {"/field/", "/field/bag", "/static/scan.js", "/static/reader/zxing_reader.wasm"} <= set(kept)
    assert not {"/field/pack", "/field/entries", "/", "/field/load"} & set(kept)
    for path in kept:
        if path.startswith("/field/") and not path.endswith("webmanifest"):
            text = page.evaluate("(path) => caches.match(path).then((kept) => kept.text())", path)
            assert "Tove" not in text and "Oda" not in text, path


WATCHED = """
window.asked = [];
const real = IDBDatabase.prototype.transaction;
IDBDatabase.prototype.transaction = function (names, mode, options) {
  window.asked.push([mode, options?.durability]);
  return real.call(this, names, mode, options);
};
"""


def test_whatever_is_written_is_asked_for_strictly(phone: Phone) -> None:
    phone.context.add_init_script(WATCHED)
    page = phone.open("lot")
    enter(page, "register lot", LOT)
    asked = page.evaluate("window.asked")
    writes = [options for mode, options in asked if mode == "readwrite"]
    assert len(writes) > 2 and set(writes) == {"strict"}


FULL = """
IDBObjectStore.prototype.add = function () { throw new DOMException("The disk is full", "QuotaExceededError"); };
"""


def test_no_sign_of_success_where_nothing_could_be_kept(phone: Phone) -> None:
    phone.ready()
    page = phone.open()
    made = enter(page, "register lot", LOT)
    enter(page, "plan coring", {"lot": {"entry": made["event_id"]}, "seed": 7, "cores": 20, "probe": {}})
    page.goto(f"{phone.address}/field/hand-over")
    page.evaluate(FULL)
    page.get_by_role("button", name="I take bags out of a place").click()
    page.fill("#typed", "7K2M-9QXQ")
    page.press("#typed", "Enter")
    page.locator("#take").click()
    page.wait_for_timeout(400)
    page.locator("#save").click()
    page.locator("#sign", has_text="Not saved").wait_for()
    assert page.locator("#sign", has_text="Saved on this phone").count() == 0
    assert [one["kind"] for one in entries(page)] == ["register lot", "plan coring"]


@pytest.fixture
def own_browser(office: tuple[str, Between], tmp_path: Path) -> Iterator[tuple[Playwright, Path]]:
    with sync_playwright() as playwright:
        yield playwright, tmp_path / "profile"


def started(playwright: Playwright, folder: Path) -> BrowserContext:
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    return playwright.chromium.launch_persistent_context(
        str(folder), executable_path=path, args=["--no-sandbox"], viewport={"width": 360, "height": 640}
    )


def kill(folder: Path) -> None:
    """End, without a word, every process of the browser that lives in this folder, as a flat battery does."""
    mine = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                words = (entry / "cmdline").read_bytes().split(b"\0")
            except OSError:
                continue
            if f"--user-data-dir={folder}".encode() in words:
                mine.append(int(entry.name))
    assert mine, "the browser that is to be killed was not found"
    for process in mine:
        try:
            os.kill(process, signal.SIGKILL)
        except ProcessLookupError:
            continue


def test_an_entry_is_there_after_the_battery_went_flat_right_after_the_sign(
    office: tuple[str, Between], own_browser: tuple[Playwright, Path]
) -> None:
    address, between = office
    playwright, folder = own_browser
    cookie = sign_in_as(between.app, "tove").get_cookie(COOKIE)
    assert cookie is not None
    context = started(playwright, folder)
    context.add_cookies([{"name": COOKIE, "value": cookie.value, "url": address}])
    page = context.new_page()
    page.goto(f"{address}/field/phone")
    page.get_by_text("Free tags:").wait_for()
    between.cut = True
    page.goto(f"{address}/field/hand-over")
    page.get_by_role("button", name="I take bags out of a place").click()
    page.fill("#typed", "7K2M-9QXQ")
    page.press("#typed", "Enter")
    page.locator("#take").click()
    page.wait_for_timeout(400)
    page.locator("#save").click()
    page.locator("#sign", has_text="Saved on this phone").wait_for()
    kill(folder)
    time.sleep(0.3)
    context = started(playwright, folder)
    between.cut = False
    page = context.new_page()
    page.goto(f"{address}/field/unsent")
    until(page, f"{ENTRIES}.then((all) => all.length === 1)")
    assert entries(page)[0]["payload"]["codes"] == ["7K2M9QXQ"]
    context.close()
