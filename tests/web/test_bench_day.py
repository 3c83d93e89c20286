"""A whole day at the bench, driven in a real browser by keys alone: a scanner, a balance, and no mouse."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from statistics import median

import pytest
from playwright.sync_api import Browser, Page

from labels.payload import prefix
from tests.makers import SEAL, act, at, life, make_received, standing
from tests.web.field.conftest import until
from tests.web.live import serving
from tracker.domain.chain import gaps
from tracker.steps.add_balance import add_balance
from tracker.steps.check_balance import check_balance
from tracker.steps.sign_in import make_account, use_link
from tracker.storage.coring import Sample
from tracker.storage.engine import Database

SACKS = 48
PASSWORD = "three dry words of hay"
# On a German layout the keys of another valid code give this one too; no bag of this season bears it.
DOUBTFUL = "FRTHAWEC"
# Keys of a fast scanner, and of a slow one for every eighth sack, milliseconds apart.
GAPS = (5, 5, 5, 5, 5, 5, 5, 40)


# A scanner's keys, each with the time at which it goes down, so that nobody has to wait for it.
KEYS = """([text, gap]) => {
  const begun = performance.now();
  for (const [number, key] of [...text, "Enter"].entries()) {
    const target = document.activeElement ?? document.body;
    const down = new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true });
    Object.defineProperty(down, "timeStamp", { value: begun + number * gap });
    target.dispatchEvent(down);
  }
}"""
# The waits of a second at most that the page asks for, as the one for a second tag, are counted and not sat through:
# they stay in what a sack takes, and how a page waits is for tests/web/test_scan_js.py. So is every click of a mouse.
COUNTS = """
const count = (name, by) => sessionStorage.setItem(name, Number(sessionStorage.getItem(name) ?? 0) + by);
addEventListener("pointerdown", () => count("clicks", 1), true);
const later = setTimeout;
window.setTimeout = (act, ms = 0, ...given) => {
  if (ms > 1000) return later(act, ms, ...given);
  count("waits", ms);
  return later(act, 0, ...given);
};
"""


class Clock:
    """The office's clock, which the day moves on."""

    def __init__(self) -> None:
        self.now = at(0).replace(hour=7) + timedelta(days=2)

    def __call__(self) -> datetime:
        self.now += timedelta(milliseconds=20)
        return self.now


class Bench:
    """One browser at the bench, signed in as somebody."""

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        self.address = address
        self.keyboard = page.context.new_cdp_session(page)
        self.spent: list[float] = []

    def sign_in(self, key: str) -> None:
        self.page.goto(f"{self.address}/sign-in")
        self.page.wait_for_selector("input[name=name]:focus")
        self.page.keyboard.type(key)
        self.page.keyboard.press("Tab")
        self.page.keyboard.type(PASSWORD)
        self.answered(lambda: self.page.keyboard.press("Enter"), "#listening")

    def answered(self, do: Callable[[], None], ready: str = ":focus") -> None:
        """Do it, and wait until the next page is ready for keys.

        What is noted is the screen's time alone, in seconds: from the browser's leaving of the old page to the new
        one's being usable, by its own clock, and what the page itself asked to wait before.
        """
        self.page.evaluate("sessionStorage.removeItem('waits')")
        with self.page.expect_event("domcontentloaded", timeout=10_000):
            do()
        until(self.page, f"document.querySelector('{ready}') !== null", 10)
        took, waited = self.page.evaluate(
            "[performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd, "
            "Number(sessionStorage.getItem('waits') ?? 0)]"
        )
        self.spent.append((took + waited) / 1000)

    def scan(self, code: str, gap: int) -> None:
        """As a scanner types it: the slow one on the browser's own keyboard, the fast one by events."""
        text = f"{prefix(self.address)}{code}"
        if gap == GAPS[-1]:
            self.answered(lambda: self.slowly(text, gap))
        else:
            self.answered(lambda: self.page.evaluate(KEYS, [text, gap]))

    def slowly(self, text: str, gap: int) -> None:
        """Each key with the time at which it goes down; Playwright's own typing could only wait."""
        now = time.time()
        strokes = [{"key": key, "text": key} for key in text]
        strokes.append({"key": "Enter", "code": "Enter", "text": "\r"})
        for number, stroke in enumerate(strokes):
            at = {"type": "keyDown", "timestamp": now + number * gap / 1000}
            self.keyboard.send("Input.dispatchKeyEvent", {**stroke, **at})

    def enter(self, text: str, gap: int = 5) -> None:
        """As a balance types it; a person's hand has gaps of 150 ms."""
        self.page.keyboard.type(text, delay=gap)
        self.answered(lambda: self.page.keyboard.press("Enter"))

    def to(self, words: str, ready: str = ":focus") -> None:
        """Tab to what says this, and press Enter."""
        for _ in range(400):
            focused = self.page.evaluate("document.querySelector('a:focus, button:focus')?.textContent ?? ''")
            if words in focused:
                self.answered(lambda: self.page.keyboard.press("Enter"), ready)
                return
            self.page.keyboard.press("Tab")
        words_there = self.page.locator("main").inner_text()[:300]
        raise AssertionError(f"no key leads to {words!r} on {self.page.url}: {words_there}")

    def clicks(self) -> int:
        return int(self.page.evaluate("Number(sessionStorage.getItem('clicks') ?? 0)"))


@pytest.fixture
def clock(season: Database) -> Clock:
    made = Clock()
    season.clock = made
    return made


@pytest.fixture
def sacks(season: Database, clock: Clock) -> list[tuple[str, Sample]]:
    """Bags that came in with the morning's box, each of its own lot."""
    found = []
    for number in range(SACKS):
        with season.act("make", "tove", {}) as session:
            sample = make_received(session, field=f"Field {number + 1}")
        found.append((str(standing(season, sample).code), sample))
    return found


@pytest.fixture
def people(season: Database, clock: Clock) -> None:
    for key in ("carl", "ana"):
        with season.act("account", "lena", {}) as session:
            use_link(session, make_account(session, key, "lena", clock()), PASSWORD, clock())
    with season.act("balance", "lena", {}) as session:
        who = act(session, "lena", 2 * 24 * 60)
        add_balance(session, "B1", who, route="keyboard", profile="any", check_weight="200.00", limit="0.05")


def checked(season: Database, clock: Clock) -> None:
    """The morning's check of the balance."""
    with season.act("check", "carl", {}) as session:
        who = act(session, "carl", (clock() - at(0)).total_seconds() / 60)
        check_balance(session, "B1", Decimal("0.00"), Decimal("200.01"), who)


def opened(browser: Browser, address: str) -> Bench:
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.add_init_script(COUNTS)
    return Bench(page, address)


@pytest.mark.usefixtures("people")
def test_48_sacks_go_from_the_desk_to_the_mill_without_a_mouse(
    season: Database, clock: Clock, sacks: list[tuple[str, Sample]], browser: Browser
) -> None:
    chance = random.Random(48)
    weights = {
        code: (
            Decimal(chance.randrange(1750, 1950)) / 100,
            Decimal(chance.randrange(22000, 30000)) / 100,
            Decimal(chance.randrange(9050, 9450)) / 10000,
        )
        for code, _ in sacks
    }
    gross = {
        code: (t, t + hay, t + (hay * dry).quantize(Decimal("0.01")))
        for code, (t, hay, dry) in weights.items()
    }
    checked(season, clock)
    with serving(season) as address:
        bench = opened(browser, address)
        bench.sign_in("carl")
        bench.to("Weigh")
        bench.spent.clear()
        for number, (code, _) in enumerate(sacks):
            bench.scan(code, GAPS[number % 8])
            bench.enter(SEAL)
            bench.enter(str(gross[code][0]))
            bench.enter(str(gross[code][1]))
        weighing = list(bench.spent)

        bench.page.goto(f"{address}/oven/new")
        for number, (code, _) in enumerate(sacks):
            bench.scan(code, GAPS[number % 8])
        fill_load(bench)
        clock.now += timedelta(hours=16)
        checked(season, clock)
        # The sign-in of the day before has ended with its shift.
        load = bench.page.url
        bench.sign_in("carl")
        bench.page.goto(load)
        bench.to("Take the load out")
        bench.spent.clear()
        weigh_dry(bench, {code: str(weight[2]) for code, weight in gross.items()})
        drying = list(bench.spent)

        mill = opened(browser, address)
        mill.sign_in("ana")
        mill.page.goto(f"{address}/mill")
        for stage in ("coarse", "fine"):
            for number, (code, _) in enumerate(sacks):
                mill.scan(code, GAPS[number % 8])
                grind(mill, stage)
        assert bench.clicks() == mill.clicks() == 0

    for code, sample in sacks:
        found = standing(season, sample)
        assert (found.state, found.on_hold) == ("ground", False), code
        # From the desk on, somebody is on record as having it at every time.
        received = next(event.occurred_at for event in life(season, sample) if event.kind == "received")
        assert [gap.words for gap in gaps(life(season, sample), {}) if gap.until > received] == [], code
    # Four answers for a sack at the desk: scan, seal, tare, fresh. The screen may cost a second of it.
    per_sack = [sum(weighing[start : start + 4]) for start in range(0, len(weighing), 4)]
    print(f"\nscreen per sack: desk median {median(per_sack):.2f} s, worst {max(per_sack):.2f} s")
    print(
        f"dry weighing: median {median(drying):.2f} s an answer, grinding: median {median(mill.spent):.2f} s"
    )


def fill_load(bench: Bench) -> None:
    """Name the load with keys alone, and put it in."""
    bench.page.keyboard.press("Tab")
    for _ in range(400):
        name = bench.page.evaluate("document.activeElement?.name ?? ''")
        if name == "oven":
            break
        bench.page.keyboard.press("Tab")
    bench.enter("Oven 1", gap=150)


def weigh_dry(bench: Bench, dry: dict[str, str]) -> None:
    """Scan the sack that the page names until none is left, and weigh it, some of them twice."""
    for _ in range(SACKS + SACKS // 5 + 2):
        shown = bench.page.locator(".code")
        if shown.count() == 0:
            break
        code = shown.first.inner_text().replace("-", "")
        bench.scan(code, 5)
        bench.enter(dry[code])


def grind(mill: Bench, stage: str) -> None:
    """Record the grind: the mill's name the first time, and only Enter from then on."""
    assert mill.page.locator("h1").inner_text() == f"{stage.capitalize()} grind"
    if mill.page.evaluate("document.activeElement.name") == "mill":
        mill.page.keyboard.type("M1")
    mill.answered(lambda: mill.page.keyboard.press("Enter"))


@pytest.mark.usefixtures("people")
def test_a_whole_address_is_believed_though_its_code_alone_could_be_another(
    season: Database, browser: Browser
) -> None:
    with serving(season) as address:
        bench = opened(browser, address)
        bench.sign_in("carl")
        bench.page.goto(f"{address}/desk/weigh")
        bench.scan(DOUBTFUL, GAPS[0])
        told = bench.page.locator("main").inner_text()
        assert "FRTH-AWEC" in told and "another code" not in told
