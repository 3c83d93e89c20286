"""The plan drawn on a phone is the one that the office draws from the same seed; ids are what the standard says."""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.web.field.office import Between
from tracker.domain import coring
from tracker.domain.lot import BALE_SHAPES, STORAGES, LotFacts, size_check, split_offer
from tracker.domain.practice import COMMON, RULES, Practice
from tracker.domain.probe import checked_probe
from tracker.errors import Refused

PRACTICE = {name: str(rule.default) for name, rule in RULES.items()}


@pytest.fixture
def page(browser: Browser, office: tuple[str, Between]) -> Iterator[Page]:
    page = browser.new_page()
    page.goto(f"{office[0]}/static/mark.svg")
    yield page
    page.close()


def asked(page: Page, module: str, act: str, given: Any) -> Any:
    return page.evaluate(
        f"(given) => import('/static/field/{module}.js').then((module) => given.map({act}))", given
    )


def test_the_first_random_number_of_a_seed_is_pythons(page: Page) -> None:
    # Python's random is the Mersenne Twister, and random.Random(seed).random() is promised not to change.
    rng = random.Random(20261126)
    seeds = [*range(200), 2**31, 2**32 - 1, *(rng.randrange(2**32) for _ in range(1800))]
    found = asked(page, "twister", "(seed) => module.firstRandom(seed)", seeds)
    assert found == [random.Random(seed).random() for seed in seeds]


def test_a_seed_of_more_than_32_bits_is_read_as_python_reads_it(page: Page) -> None:
    seeds = [2**32, 2**40 + 7, 2**53 - 1, 123_456_789_012_345]
    found = asked(page, "twister", "(seed) => module.firstRandom(seed)", seeds)
    assert found == [random.Random(seed).random() for seed in seeds]


def test_the_bales_and_cores_of_5000_lots_are_those_of_the_office(page: Page) -> None:
    rng = random.Random(4)
    lots = [
        (
            rng.choice((1, 2, 7, 19, 20, 21, 118, rng.randrange(1, 3000))),
            rng.randrange(1, 101),
            rng.randrange(10**6),
        )
        for _ in range(5000)
    ]
    found = asked(
        page, "coring", "(one) => module.balePicks(...one).map((pick) => [pick.bale, pick.cores])", lots
    )
    wanted = [[[pick.bale, pick.cores] for pick in coring.bale_picks(*lot)] for lot in lots]
    assert found == wanted


def planned(shape: str, bales: int, cores: int, seed: int, storage: str) -> dict[str, Any]:
    facts = LotFacts("Long field", 2, "alfalfa", date(2026, 6, 1), shape, bales, Decimal(60), storage=storage)
    probe = checked_probe("", "15.9", "610")
    return coring.plan(facts, probe, seed=seed, cores=cores, reason="few bales").to_dict()


def test_depth_mass_margins_and_words_of_a_plan_are_those_of_the_office(page: Page) -> None:
    rng = random.Random(5)
    cases = [
        (shape, rng.randrange(8, 200), rng.randrange(15, 41), rng.randrange(10**6), storage)
        for shape in BALE_SHAPES
        for storage in STORAGES
        for _ in range(4)
    ]
    act = """([shape, bale_count, cores, seed, storage]) => module.makePlan(
        {shape, bale_count, storage, harvested: "2026-06-01"},
        {name: "", inside_mm: "15.9", length_mm: "610"}, {seed, cores}, PRACTICE)"""
    found = asked(page, "coring", act.replace("PRACTICE", repr(PRACTICE)), cases)
    for case, mine in zip(cases, found, strict=True):
        ours = planned(*case)
        assert mine["entry"] == ours["entry"] and mine["depth_mm"] == ours["depth_mm"]
        assert mine["when"] == ours["when"]
        assert mine["mass_g"] == ours["mass_g"]
        for name in ("cp_margin", "ndf_margin"):
            assert abs(Decimal(mine[name]) - Decimal(ours[name])) <= Decimal("0.005001")
        assert bool(mine["cautions"]) == bool(ours["mass_advice"])


def too_large(shape: str, bales: int, pounds: str | None, practice: Practice) -> list[int] | None:
    mass = None if pounds is None else Decimal(pounds)
    facts = LotFacts("Long field", 2, "alfalfa", date(2026, 6, 1), shape, bales, mass)
    try:
        size_check(facts, practice)
    except Refused as refused:
        assert refused.code == "lot-too-large"
        return list(split_offer(facts, practice))
    return None


@pytest.mark.parametrize("basis", ["as received", "dry matter"])
def test_a_lot_is_too_large_on_the_phone_just_when_the_office_would_refuse_it(page: Page, basis: str) -> None:
    practice = COMMON if basis == "as received" else Practice({"lot_limit_basis": basis})
    rng = random.Random(6)
    lots: list[tuple[str, int, str | None]] = [
        ("round", 400, "1000"),  # 200 short tons to the pound: still one lot
        ("round", 401, "1000"),
        ("small square", 6557, "61"),
    ]
    for _ in range(500):
        pounds = rng.choice((None, f"{rng.randrange(300, 2000)}.5"))
        lots.append((rng.choice(BALE_SHAPES), rng.randrange(1, 12_000), pounds))
    rules = {**PRACTICE, "lot_limit_basis": basis}
    act = f"""([shape, bale_count, bale_lb]) =>
        module.lotTooLarge({{shape, bale_count, bale_lb}}, {rules!r})?.parts ?? null"""
    found = asked(page, "coring", act, lots)
    assert found == [too_large(*lot, practice) for lot in lots]
    assert any(found) and not all(found)


def test_an_id_is_a_version_7_uuid_in_the_order_of_time_and_of_the_counter(page: Page) -> None:
    # RFC 9562, section 5.7: 48 bits of Unix time in ms, version 7, variant 10.
    times = [(1_793_000_000_000 + step // 50, step + 1) for step in range(2000)]
    found = asked(page, "ids", "([time, seq]) => module.newId(time, seq)", times)
    for text, (time, _) in zip(found, times, strict=True):
        made = uuid.UUID(text)
        assert (made.version, made.variant) == (7, uuid.RFC_4122)
        assert made.int >> 80 == time
    assert len(set(found)) == 2000 and found == sorted(found)


def test_a_clock_that_steps_back_a_little_keeps_the_order_and_one_set_anew_is_followed(page: Page) -> None:
    found = asked(
        page, "ids", "(pair) => module.idTime(...pair)", [[1000, 5000], [6000, 5000], [1000, 500_000]]
    )
    assert found == [5000, 6000, 1000]
