"""Every page in a real browser, at phone and desk size, in both schemes: axe, contrast, targets, sideways scroll."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyotp
import pytest
from playwright.sync_api import Browser, BrowserContext, Page
from sqlalchemy import select

from tests.makers import (
    BASE,
    act,
    at,
    make_bag,
    make_dried,
    make_ground,
    make_in_oven,
    make_received,
    make_weighed,
    standing,
)
from tests.phones import LOT, Phone
from tests.result_files import NIR, Bench, bench, bench_template, row, written
from tests.season_makers import make_season
from tests.web.axe import SIZES, Looked, everywhere, faulty, shown_at
from tests.web.live import serving
from tracker.steps.add_balance import add_balance
from tracker.steps.issue_tags import issue_tags
from tracker.steps.make_run import make_run
from tracker.steps.note_access import note_access
from tracker.steps.print_tags import print_tags
from tracker.steps.record_results import record_results
from tracker.steps.set_equipment import set_equipment
from tracker.steps.sign_in import begin, make_account
from tracker.storage.access import Account
from tracker.storage.custody import StandingRow
from tracker.storage.engine import Database
from tracker.storage.people import party

__all__ = ["bench", "bench_template"]

BENCH = ("/desk/", "/oven", "/mill")
# What is pressed with gloves on; links in running text and in tables are read, not worked with.
TARGETS = (
    "main button:not(.plain), main input:not([type=hidden], [type=checkbox], [type=radio]), main select, "
    "main a.next"
)


@pytest.fixture
def addresses(season: Database) -> list[str]:
    """A season with one sample at every station, and the addresses of its pages."""
    found: dict[str, str] = {}
    for name, maker in {
        "bag": make_bag,
        "received": make_received,
        "weighed": make_weighed,
        "in oven": make_in_oven,
        "dried": make_dried,
        "ground": make_ground,
    }.items():
        with season.act("make", "tove", {}) as session:
            more = {"load": f"L-{name[0]}"} if name in ("in oven", "dried", "ground") else {}
            sample = maker(session, field=f"{name} field", **more)
        found[name] = str(standing(season, sample).code)
    season.clock = lambda: at(3 * 24 * 60)
    with season.act("balance", "lena", {}) as session:
        who = act(session, "lena", 3 * 24 * 60)
        set_equipment(session, "oven", "oven 1", who, facts="240 litres, to 120 °C", reason="its plate")
        add_balance(session, "B1", who, route="keyboard", profile="any", check_weight="200.00", limit="0.05")
    return [
        "/",
        "/people",
        "/people/comings",
        "/second-factor",
        "/bring-in",
        "/programs",
        "/tags",
        "/producers",
        "/producers/1",
        f"/as-producer/{found['dried']}",
        "/season",
        "/season?producer=Oda+Meadow",
        "/settings",
        "/settings/rule/cores",
        "/settings/oven/oven%201",
        "/tags/rolls",
        f"/tags/contested/{contested(season)}",
        "/phones",
        "/field/load",
        "/desk/receive",
        f"/desk/receive/{found['bag']}",
        "/desk/weigh",
        f"/desk/weigh/{found['received']}",
        "/desk/balances",
        "/desk/tare-batch",
        "/oven",
        f"/oven/new?code={found['weighed']}",
        "/oven/L-i",
        "/mill",
        f"/mill/{found['dried']}",
        "/runs",
        "/results",
        "/charts",
        f"/way/{found['ground']}",
        f"/analyses/{found['ground']}",
        f"/find?text={found['dried']}",
        "/nothing-here",
    ]


def contested(season: Database) -> str:
    """A tag on two bags, by two phones: one is three days slow, and an entry of it was refused, another waits."""
    with season.act("print", "carl", {}) as session:
        _, printed = print_tags(
            session, [None] * 2, act(session, "carl", 6), base_url=BASE, layout={"stock": "roll"}
        )
        code = printed[0].tag.code
        issue_tags(session, printed[0].tag.run_id, 1, 2, party(session, "tove"), act(session, "carl", 7))
    tove, ulf = Phone(slow=3 * 24 * 60), Phone("ulf")
    tove.send(season, 200, *tove.bagged(code, field="West"))
    tove.count += 1
    tove.send(season, 210, tove.entry("register lot", 50, {**LOT, "forage": "seaweed"}))
    ulf.send(season, 220, *ulf.bagged(code, 12, field="Hill"))
    ulf.send(season, 230, ulf.entry("note", 60, {"about": {"entry": "none yet"}, "words": "x"}))
    return code


def signed_in(browser: Browser, season: Database, address: str) -> BrowserContext:
    """A browser in which the lead is signed in."""
    with season.act("sign in", "lena", {}) as session:
        wanted = select(Account).where(Account.party_key == "lena")
        if session.scalar(wanted) is None:
            make_account(session, "lena", "lena", season.clock())
        token = begin(session, session.scalars(wanted).one(), season.clock())
    context = browser.new_context()
    context.add_cookies([{"name": "tracker", "value": token, "url": address}])
    return context


def test_no_page_has_a_fault_that_axe_finds(season: Database, addresses: list[str], browser: Browser) -> None:
    seen: dict[str, Looked] = {}
    with serving(season) as address:
        context = signed_in(browser, season, address)
        page = context.new_page()
        for path in addresses:
            answer = page.goto(address + path)
            assert answer is not None and answer.ok == (path != "/nothing-here"), path
            seen[path] = everywhere(page, enhanced=path.startswith(BENCH))
        context.close()
    assert faulty(seen) == {}


def test_nothing_scrolls_sideways_and_every_bench_control_can_be_hit_with_gloves(
    season: Database, addresses: list[str], browser: Browser
) -> None:
    wide, small = [], []
    with serving(season) as address:
        context = signed_in(browser, season, address)
        page = context.new_page()
        for path in addresses:
            page.goto(address + path)
            # What is folded away has no size of its own until somebody opens it.
            page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
            for size in SIZES:
                shown_at(page, size)
                if page.evaluate(
                    "document.documentElement.scrollWidth > document.documentElement.clientWidth"
                ):
                    wide.append((size, path))
                if path.startswith(BENCH):
                    for box in page.locator(TARGETS).all():
                        found = box.bounding_box()
                        if found is not None and found["height"] < 72:
                            small.append((size, path, box.evaluate("node => node.outerHTML.slice(0, 80)")))
        context.close()
    assert (wide, small) == ([], [])


@pytest.fixture
def results(bench: Bench, tmp_path: Path) -> tuple[Database, list[str], Path]:
    """A season with a run, a file taken in, a parked row, and another file to look at; with its pages."""
    first, second, third, fourth = bench.codes
    season = bench.season
    season.clock = lambda: at(1500)
    with season.act("run", "ana", {}) as session:
        run = make_run(session, NIR, "check hay", bench.codes, act(session, "ana", 1380), seed=1)
        content = written([row("check hay"), row(first), row(second, CP_pc_DM="l8.6"), row(third, GH="4.1")])
        record_results(session, NIR, "run.csv", content, act(session, "ana", 1400))
        name = run.name
    upload = tmp_path / "next.csv"
    upload.write_bytes(written([row(fourth), row("7K2M9QXQ")]))
    paths = [
        "/runs",
        f"/runs/{name}",
        "/results",
        "/parked/1",
        f"/analyses/{first}",
        f"/release/{first}",
        f"/way/{third}",
        "/charts",
        "/oven/B-0",
        "/oven/B-0/dry",
    ]
    return season, paths, upload


def test_the_pages_of_results_have_no_fault_either(
    results: tuple[Database, list[str], Path], browser: Browser
) -> None:
    season, paths, upload = results
    seen: dict[str, Looked] = {}
    with serving(season) as address:
        context = signed_in(browser, season, address)
        page = context.new_page()
        for path in paths:
            answer = page.goto(address + path)
            assert answer is not None and answer.ok, path
            seen[path] = everywhere(page)
        page.goto(f"{address}/results")
        page.set_input_files("input[type=file]", upload)
        page.locator("form:has(input[type=file]) button").click()
        page.wait_for_selector("text=next.csv")
        seen["the look at a file"] = everywhere(page)
        context.close()
    assert faulty(seen) == {}


def test_the_steps_to_a_second_factor_have_no_fault(season: Database, browser: Browser) -> None:
    seen: dict[str, Looked] = {}
    with season.act("come in", "lena", {}) as session:
        note_access(session, at(0), "turned away", "lena", "127.0.0.1")
    with serving(season) as address:
        context = signed_in(browser, season, address)
        page = context.new_page()
        seen["comings"] = looked_at(page, f"{address}/people/comings", "turned away")
        seen["before"] = looked_at(page, f"{address}/second-factor", "Show the code to scan")
        page.get_by_role("button", name="Show the code to scan").click()
        seen["secret"] = looked_at(page, "", "Nobody else may see it")
        phone = pyotp.TOTP(page.locator("p.code").inner_text().replace(" ", ""))
        page.fill("#code", phone.at(season.clock()))
        page.get_by_role("button", name="Use it from now on").click()
        seen["paper codes"] = looked_at(page, "", "Write these down")
        seen["after"] = looked_at(page, f"{address}/second-factor", "Every sign-in of yours")
        context.close()
    assert faulty(seen) == {}


def test_a_season_plan_and_its_record_have_no_fault(bench: Bench, browser: Browser) -> None:
    make_season(bench)
    season = bench.season
    season.clock = lambda: at(1700)
    seen: dict[str, Looked] = {}
    with serving(season) as address:
        context = signed_in(browser, season, address)
        page = context.new_page()
        seen["asked"] = looked_at(page, f"{address}/season?producer=Oda+Meadow", "Plan for Oda Meadow")
        page.get_by_role("button", name="Plan for Oda Meadow").click()
        seen["planned"] = looked_at(page, "", "Plan it otherwise")
        seen["kept"] = looked_at(page, f"{address}/season/kept/1", "As it was made")
        seen["today"] = looked_at(page, f"{address}/season/kept/1/today", "The same plan comes of it")
        context.close()
    assert faulty(seen) == {}


def looked_at(page: Page, address: str, words: str) -> Looked:
    """What axe finds on the page at that address, or on the one that stands there, once it says these words."""
    if address:
        page.goto(address)
    page.get_by_text(words).first.wait_for()
    return everywhere(page)


def test_pages_for_those_who_are_not_signed_in_have_no_fault(season: Database, browser: Browser) -> None:
    with season.act("make", "tove", {}) as session:
        code = standing_code(session)
        _, printed = print_tags(session, [1], act(session, "tove", 6), base_url=BASE, layout={})
        stub = printed[0].token
    seen: dict[str, Looked] = {}
    with serving(season) as address:
        page = browser.new_page()
        for path in ("/sign-in", "/link/never-one-of-ours", f"/T/{code}", f"/T/{stub}"):
            page.goto(address + path)
            seen[path] = everywhere(page)
        page.close()
    assert faulty(seen) == {}


def standing_code(session: Any) -> str:
    """The code of a bag that somebody may find."""
    sample = make_bag(session, field="Road field")
    return str(session.get_one(StandingRow, sample.id).code)
