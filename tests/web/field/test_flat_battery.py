"""What the phone said it saved is there after its battery went flat the moment after."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, BrowserType

from tests.web.conftest import sign_in_as
from tests.web.field.conftest import ENTRIES, entries, until
from tests.web.field.office import Between
from tests.web.live import SWITCHES, program
from tracker.web.shared.guard import COOKIE


def started(kind: BrowserType, folder: Path) -> BrowserContext:
    return kind.launch_persistent_context(
        str(folder),
        executable_path=program(),
        args=list(SWITCHES),
        viewport={"width": 360, "height": 640},
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
    office: tuple[str, Between], browser: Browser, tmp_path: Path
) -> None:
    address, between = office
    kind, folder = browser.browser_type, tmp_path / "profile"
    cookie = sign_in_as(between.app, "tove").get_cookie(COOKIE)
    assert cookie is not None
    context = started(kind, folder)
    context.add_cookies([{"name": COOKIE, "value": cookie.value, "url": address}])
    page = context.new_page()
    page.goto(f"{address}/field/phone")
    page.get_by_text("Free tags:").wait_for()
    until(page, "navigator.serviceWorker.ready.then((here) => here.active.state === 'activated')")
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
    context = started(kind, folder)
    between.cut = False
    page = context.new_page()
    page.goto(f"{address}/field/unsent")
    until(page, f"{ENTRIES}.then((all) => all.length === 1)")
    assert entries(page)[0]["payload"]["codes"] == ["7K2M9QXQ"]
    context.close()
