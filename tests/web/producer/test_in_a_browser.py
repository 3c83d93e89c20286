"""The producer's page in a real browser without script: the first screen, its weight, a 3G line, axe, the net."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Page
from sqlalchemy import update

from tests.makers import at
from tests.web.axe import everywhere, faulty
from tests.web.live import serving
from tests.web.producer.lots import NAMES, Stub
from tracker.storage.engine import Database
from tracker.storage.lots import Field

PHONE = {"width": 360, "height": 640}
SIZES = {"phone": PHONE, "narrow": {"width": 320, "height": 640}, "desk": {"width": 1280, "height": 900}}
MOST_BYTES = 50_000
# A slow 3G line as page-speed tests set it: 1.6 Mbit/s down, 768 kbit/s up, 300 ms there and back (common practice).
SLOW = {
    "offline": False,
    "latency": 300,
    "downloadThroughput": 1_600_000 / 8,
    "uploadThroughput": 768_000 / 8,
}
MOST_SECONDS = 2.0
QUERIES = {
    "as it is": "",
    "dry cows": "?kind=cow&stage=mid-pregnancy&weight=1200&condition=4",
    "heifers": "?kind=first-calf+heifer&stage=early-milk&weight=1000&milk=18",
    "bulls": "?kind=bull&weight=2000&condition=5",
}


@pytest.fixture
def without_script(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)  # type: ignore[arg-type]
    yield context
    context.close()


@pytest.fixture
def address(lots: Database) -> Iterator[str]:
    with serving(lots) as found:
        yield found


def bottoms(page: Page) -> dict[str, float]:
    """How far down each thing of the first screen ends, in px."""
    found = {}
    for name, selector in {
        "which hay": "h1",
        "more of which hay": ".which",
        "for whom": ".for",
        "verdict": ".verdict",
        "what to add": ".add",
        "telephone": ".call a",
    }.items():
        box = page.locator(selector).first.bounding_box()
        assert box is not None, name
        found[name] = box["y"] + box["height"]
    return found


@pytest.mark.parametrize("who", QUERIES)
@pytest.mark.parametrize("name", NAMES)
def test_the_first_screen_has_hay_verdict_what_to_add_and_whom_to_call(
    name: str, who: str, address: str, stubs: dict[str, Stub], without_script: BrowserContext
) -> None:
    page = without_script.new_page()
    answer = page.goto(f"{address}/T/{stubs[name].token}{QUERIES[who]}")
    assert answer is not None and answer.status == 200
    found = bottoms(page)
    assert max(found.values()) <= PHONE["height"], found
    assert list(found.values()) == sorted(found.values()), "in the order in which they are read"


def test_a_long_name_of_a_field_pushes_nothing_off_the_first_screen(
    lots: Database, stubs: dict[str, Stub], address: str, without_script: BrowserContext
) -> None:

    with lots.act("rename", "", {}) as session:
        mine = update(Field).where(Field.name == "Far Bottom")
        session.execute(mine.values(name="The low meadow behind the old mill on the river road"))
    page = without_script.new_page()
    page.goto(f"{address}/T/{stubs['poor'].token}")
    assert max(bottoms(page).values()) <= PHONE["height"]


def test_a_page_weighs_less_than_50_kb_with_all_it_needs(
    address: str, stubs: dict[str, Stub], without_script: BrowserContext
) -> None:
    for name in NAMES:
        page, came = without_script.new_page(), []
        page.on("response", lambda one, kept=came: kept.append(one))
        page.goto(f"{address}/T/{stubs[name].token}", wait_until="networkidle")
        weights = {one.url: len(one.body()) for one in came}
        assert any(url.endswith(".css") for url in weights), weights
        assert sum(weights.values()) < MOST_BYTES, (name, weights)
        page.close()


def test_nothing_is_asked_of_anybody_else_and_no_address_is_told(
    address: str, stubs: dict[str, Stub], browser: Browser
) -> None:
    context = browser.new_context(viewport=PHONE)  # type: ignore[arg-type]
    page, asked = context.new_page(), []
    page.on("request", lambda one: asked.append((one.url, one.headers.get("referer", ""))))
    for name in NAMES:
        page.goto(f"{address}/T/{stubs[name].token}", wait_until="networkidle")
    page.click("text=Not yours? Choose your animals")
    context.close()
    assert len(asked) > 5
    assert [url for url, _ in asked if not url.startswith(address)] == []
    assert [told for _, told in asked if told] == [], "the token stands in the address, which nobody is told"


def test_on_a_slow_3g_line_the_page_is_there_within_two_seconds(
    address: str, stubs: dict[str, Stub], browser: Browser
) -> None:
    warm = browser.new_page()
    # The first answer of a fresh server loads its libraries; a producer is hardly ever the first.
    warm.goto(f"{address}/T/{stubs['good'].token}")
    warm.close()
    took = []
    for _ in range(3):
        context = browser.new_context(viewport=PHONE, java_script_enabled=False)  # type: ignore[arg-type]
        page = context.new_page()
        line = context.new_cdp_session(page)
        line.send("Network.enable")
        line.send("Network.emulateNetworkConditions", SLOW)
        begun = time.perf_counter()
        page.goto(f"{address}/T/{stubs['poor'].token}", wait_until="load")
        took.append(time.perf_counter() - begun)
        context.close()
    # Another job of a shared machine may slow one of them; the page itself is what the best one shows.
    assert 0.6 < min(took) < MOST_SECONDS, took


def test_axe_finds_no_fault(address: str, stubs: dict[str, Stub], browser: Browser) -> None:
    context = browser.new_context()
    page, seen = context.new_page(), {}
    token = stubs["poor"].token
    for path in (
        f"/T/{token}",
        f"/T/{stubs['unfit'].token}",
        f"/T/{token}/animals",
        f"/T/{token}/animals?kind=cow&stage=early-milk&weight=1200",
        f"/T/{token}/links",
        f"/T/{token}/messages",
        "/T/0123456789ABCDEFGHJKMNPQRS",
    ):
        page.goto(address + path)
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        seen[path] = everywhere(page)
    context.close()
    assert faulty(seen) == {}


@pytest.mark.parametrize("size", SIZES)
def test_nothing_scrolls_sideways(size: str, address: str, stubs: dict[str, Stub], browser: Browser) -> None:
    context = browser.new_context(viewport=SIZES[size])  # type: ignore[arg-type]
    page, wide = context.new_page(), []
    for path in (
        f"/T/{stubs['poor'].token}",
        f"/T/{stubs['unfit'].token}",
        f"/T/{stubs['poor'].token}/links",
    ):
        page.goto(address + path)
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"):
            wide.append(path)
    context.close()
    assert wide == []


def test_three_taps_choose_the_animals_without_script(
    address: str, stubs: dict[str, Stub], without_script: BrowserContext
) -> None:
    page = without_script.new_page()
    page.goto(f"{address}/T/{stubs['fair'].token}")
    page.click("text=Choose your animals")
    taps = 0
    for words in ("calf weaned, more than 3 months to calving", "1,300 lb", "thin: ribs show"):
        page.locator(f"main a:has-text('{words}')").first.click()
        taps += 1
    assert taps == 3
    assert "1,300-lb cows, 120 days to calving" in page.inner_text(".for")
    assert "Thin cows need more than this." in page.inner_text("main")
    assert page.inner_text(".verdict") != ""


def test_the_first_readers_path_of_the_manual_can_be_walked(
    address: str, stubs: dict[str, Stub], without_script: BrowserContext
) -> None:
    """The steps of docs/producer.md, each looked for where it says it is."""
    page = without_script.new_page()
    page.goto(f"{address}/T/{stubs['poor'].token}")
    heads = page.locator("main h2").all_inner_texts()
    assert heads == [
        "How sure is this?",
        "Feeds that can close the gap",
        "What is in the hay",
        "The way of your sample",
        "Take it with you",
        "Where this comes from",
        "Who else sees this",
    ]
    page.click("summary:has-text('Who had it')")
    assert "Tove Lind took 20 cores" in page.inner_text(".custody")
    with page.expect_download() as given:
        page.click("text=The numbers (CSV)")
    assert given.value.suggested_filename.endswith(".csv")
    page.click("text=Let an adviser see it")
    page.fill("#name", "Dr. Lee")
    page.fill("#until", at(1600).date().isoformat())
    page.click("button:has-text('Make a link')")
    link = page.inner_text(".link")
    assert link.startswith(f"{address}/T/")
    page.goto(link)
    assert "Far Bottom" in page.inner_text("h1")
