"""The hay of the year, counted apart from the lookup."""

from __future__ import annotations

import random
import statistics
from collections import defaultdict
from decimal import Decimal

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.makers import START, make_lot, make_plan
from tests.result_files import Bench, body_of, released, row, taken_in, written
from tracker.lookups.hay_of_year import ALL, GROUPINGS, hay_of_year
from tracker.steps.add_people import add_producer
from tracker.storage.engine import Database
from tracker.storage.released import ReleasedValue, keep_released, numbers_of

FORAGES = ("alfalfa", "timothy", "orchardgrass")


def issue(session: Session, number: int, **values: str) -> None:
    """A lot whose report says these numbers; its producer, forage, cutting and season follow from its number."""
    lot = make_lot(
        session,
        producer=f"Producer {number % 7}",
        field=f"Field {number}",
        forage=FORAGES[number % 3],
        cutting=str(number % 2 + 1),
        harvested=f"{2025 + number % 2}-06-01",
    )
    sample = make_plan(session, lot.id)
    body = {"results": [{"code": code, "dm": value} for code, value in values.items()], "derived": []}
    keep_released(session, sample.id, body)


@pytest.fixture
def counted(season: Database) -> dict[tuple[str, int], list[Decimal]]:
    """Sixty lots, and their CP by forage and season as a test would count them."""
    chance = random.Random(5)
    told: dict[tuple[str, int], list[Decimal]] = defaultdict(list)
    with season.act("make", "tove", {}) as session:
        for number in range(7):
            add_producer(session, name=f"Producer {number}", place=f"Area {number % 2}", now=START)
        for number in range(60):
            cp = Decimal(chance.randrange(60, 240)) / 10
            issue(session, number, CP=str(cp), NDF="50.0")
            for name in (FORAGES[number % 3], ALL):
                told[(name, 2025 + number % 2)].append(cp)
    return told


def test_every_group_says_what_an_independent_count_says(
    season: Database, counted: dict[tuple[str, int], list[Decimal]]
) -> None:
    with season.read() as session:
        year = hay_of_year(session, 2026)
    assert year.lots == 30
    found = {(one.name, one.season): one.spread for one in year.groups["CP"]}
    assert set(found) == set(counted)
    for key, values in counted.items():
        spread = found[key]
        assert spread is not None
        assert (spread.n, spread.median) == (len(values), statistics.median(values))
        assert [spread.lower, spread.upper] == statistics.quantiles(values, n=4, method="inclusive")[::2]
    assert year.groups["DM"] == () and year.groups["RFQ"] == ()


@pytest.mark.usefixtures("counted")
def test_the_season_stands_before_those_that_went_before_it(season: Database) -> None:
    with season.read() as session:
        groups = hay_of_year(session, 2026).groups["NDF"]
        assert {one.season for one in hay_of_year(session, 2025).groups["NDF"]} == {2025}
    assert [(one.name, one.season) for one in groups[:4]] == [
        (ALL, 2026), (ALL, 2025), ("alfalfa", 2026), ("alfalfa", 2025)
    ]  # fmt: skip


@pytest.mark.usefixtures("counted")
@pytest.mark.parametrize("by", GROUPINGS)
def test_the_groups_of_each_grouping_share_out_all_the_hay(season: Database, by: str) -> None:
    with season.read() as session:
        groups = hay_of_year(session, 2026, by).groups["CP"]
    ours = {one.name: one.spread.n for one in groups if one.season == 2026 and one.spread}
    assert sum(ours.values()) - ours[ALL] == ours[ALL] == 30


def test_a_small_group_tells_neither_values_nor_count(season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        for number in range(7):
            add_producer(session, name=f"Producer {number}", now=START)
        for number in range(1, 9, 2):
            issue(session, number, CP="9.0")
    with season.read() as session:
        groups = hay_of_year(session, 2026).groups["CP"]
    assert groups and all(one.spread is None for one in groups)


def test_what_is_released_counts_as_its_latest_report_says(bench: Bench) -> None:
    sample = bench.samples[0]
    taken_in(bench, written([row(bench.codes[0])]))
    released(bench, sample)
    with bench.season.read() as session:
        kept = {
            one.code: one.value
            for one in session.scalars(select(ReleasedValue).where(ReleasedValue.sample_id == sample.id))
        }
    assert kept == dict(numbers_of(body_of(bench, sample)))
    assert {"CP", "total DM"} <= set(kept)


def test_a_lot_sampled_again_counts_once_by_its_newest_report(season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        for number in range(7):
            add_producer(session, name=f"Producer {number}", now=START)
        for number in range(1, 14, 2):
            issue(session, number, CP="9.0")
        again = make_plan(session, 1)
        keep_released(session, again.id, {"results": [{"code": "CP", "dm": "20.0"}], "derived": []})
    with season.read() as session:
        (all_hay, *_) = hay_of_year(session, 2026).groups["CP"]
        lots = hay_of_year(session, 2026).lots
    assert all_hay.spread is not None and lots == all_hay.spread.n == 7
    assert all_hay.spread.ninetieth is None and all_hay.spread.median == Decimal("9.0")
