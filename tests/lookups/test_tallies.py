"""What is kept for the programme's figures says what all events, reports and weighings say, reckoned plainly."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.databases import Databases, upgraded_again
from tests.lookups import plainly
from tests.makers import (
    START,
    act,
    at,
    done,
    life,
    make_cored,
    make_dried,
    make_ground,
    make_lot,
    make_plan,
    make_received,
    make_tag,
)
from tests.result_files import Bench, bench_copied, bench_on, released, row, taken_in, written
from tracker.lookups.hay_of_year import GROUPINGS, QUALITIES, hay_of_year
from tracker.lookups.programme import behind, programme
from tracker.steps.add_people import add_producer
from tracker.steps.amend import amend
from tracker.steps.append_event import on_sample
from tracker.steps.bag_cores import replace_tag
from tracker.steps.core_lot import core_lot
from tracker.steps.erase_person import erase_producer
from tracker.steps.hold import hold, lift_hold
from tracker.steps.undo import undo
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.released import keep_released
from tracker.storage.tallies import AnswerTime, CoringTally, DryAgain, LabelTally

SECOND = 1 / 60
PRODUCERS, LOTS = 7, 70
# What the figures are read from, in the order of what points at what.
KEPT = ("hay_count", "hay_share", "coring_tally", "label_tally", "answer_time", "dry_again")


@pytest.fixture(scope="module")
def varied_template(
    databases: Databases, bench_template: str, tmp_path_factory: pytest.TempPathFactory
) -> str:
    """The address of a varied season, never opened by a test."""
    address = databases.copy(bench_template, tmp_path_factory.mktemp("varied"))
    bench = bench_on(address)
    build_varied(bench)
    bench.season.close()
    return address


@pytest.fixture
def varied(databases: Databases, varied_template: str, tmp_path: Path) -> Iterator[Bench]:
    """The test's own copy of that season."""
    with bench_copied(databases, varied_template, tmp_path) as found:
        yield found


def build_varied(bench: Bench) -> None:
    """Let everything happen in it that the figures count, and some of it be taken back or corrected."""
    _reported_twice(bench)
    season = bench.season
    done(season, _odd_corings)
    done(season, _odd_receipts)
    for number in range(8):
        _weighed_again(season, number)
    held = done(season, lambda s: make_dried(s, field="Held", load="L-held"))
    done(season, lambda s: hold(s, held, act(s, "lena", 1300), reason="damp"))
    lifted = done(season, lambda s: make_received(s, field="Lifted"))
    done(season, lambda s: hold(s, lifted, act(s, "lena", 1300), reason="damp"))
    done(season, lambda s: lift_hold(s, lifted, act(s, "lena", 1301), reason="it was dew"))
    lost = done(season, lambda s: make_plan(s, field="Lost"))
    done(season, lambda s: on_sample(s, "lost", lost, {"circumstances": "fell off"}, act(s, "tove", 90)))
    done(season, lambda s: make_ground(s, field="Last year", harvested="2025-06-01", load="L-2025"))
    done(season, _reports)
    done(season, lambda s: erase_producer(s, "Producer 3", act(s, "lena", 9000), reason="asked for it"))


def _reported_twice(bench: Bench) -> None:
    for number, sample in enumerate(bench.samples):
        taken_in(bench, written([row(bench.codes[number])]), name=f"{number}.csv", minute=1400 + number)
        released(bench, sample, minute=1500 + 700.4 * number)
    released(bench, bench.samples[0], minute=9000, reason="once more")
    done(bench.season, lambda s: hold(s, bench.samples[1], act(s, "lena", 9001), reason="asked about"))


def _odd_corings(session: Session) -> None:
    for number in range(5):
        sample = make_plan(session, field=f"Core {number}", bale_count=str(12 + 5 * number))
        said = {"cores_taken": 9 - number % 2, "deviations": ["dusk"]} if number > 1 else {}
        entry = "end" if number == 4 else None
        core_lot(session, sample, act(session, "tove", 60), entry=entry, **said)
    again = make_plan(session, make_lot(session, field="Twice").id)
    make_cored(session, again)
    make_cored(session, make_plan(session, again.lot_id))


def _odd_receipts(session: Session) -> None:
    make_received(session, field="Label", condition=("label damaged",))
    torn = make_received(session, field="Torn")
    replace_tag(session, torn, make_tag(session), act(session, "carl", 300), reason="torn")


def _weighed_again(season: Database, number: int) -> None:
    sample = done(season, lambda s: make_dried(s, field=f"Again {number}", load=f"A-{number}"))
    done(season, lambda s: weigh(s, sample, "dry again", f"{250.9 - number / 2:.1f}", act(s, "ana", 1300)))
    last = life(season, sample)[-1].seq
    if number == 1:
        done(season, lambda s: undo(s, last, act(s, "ana", 1300 + 5 * SECOND)))
    if number == 2:
        done(season, lambda s: amend(s, last, {"grams": "240.0"}, act(s, "ana", 1400), reason="misread"))
    if number == 3:
        fresh = next(one.seq for one in life(season, sample) if one.kind == "fresh weighed")
        done(season, lambda s: amend(s, fresh, {"grams": "300.0"}, act(s, "carl", 1400), reason="misread"))


def _reports(session: Session) -> None:
    chance = random.Random(11)
    for number in range(PRODUCERS):
        add_producer(session, name=f"Producer {number}", place=f"Area {number % 3}", now=START)
    lots = [
        make_lot(
            session,
            # The first has more than half of one forage.
            producer=f"Producer {number % PRODUCERS if number % 3 else 0}",
            field=f"Field {number}",
            forage=("timothy", "alfalfa", "orchardgrass")[number % 3],
            cutting=str(number % 2 + 1),
            harvested=f"{2022 + number % 5}-06-01" if number % 2 else "2026-06-01",
        ).id
        for number in range(LOTS)
    ]
    for lot in (*lots, *lots[::7], *lots[::9]):
        sample = make_plan(session, lot)
        for _ in range(chance.choice((1, 1, 2))):
            keep_released(session, sample.id, _body(chance))
    # A newer version may have less to say, or nothing.
    for sample in session.scalars(select(Sample).where(Sample.lot_id.in_(lots[:8]))):
        keep_released(session, sample.id, {"results": [], "derived": []} if sample.id % 2 else _body(chance))


def _body(chance: random.Random) -> dict[str, Any]:
    results = [
        {"code": code, "dm": f"{chance.randrange(80, 240) / 10:.{chance.choice((1, 2))}f}"}
        for code in ("CP", "NDF")
        if chance.random() < 0.9
    ]
    formula = chance.choice(("TDN-sum", "TDN-ADF-hay"))
    derived = [{"code": formula, "value": str(chance.randrange(50, 65))}]
    return {"results": results, "derived": derived, "dry_matter": {"total": f"{chance.randrange(80, 95)}.0"}}


def told(session: Session, days: float) -> set[plainly.Told]:
    now = at(60 * 24 * days).astimezone(UTC)
    parts = programme(session, 2026, now)
    counted = ("Phones", "What was refused")
    return {
        (one.name, one.value, one.words) for part in parts if part.name not in counted for one in part.figures
    }


@pytest.mark.parametrize("days", [1.5, 4, 30])
def test_every_figure_is_what_all_that_happened_adds_up_to(varied: Bench, days: float) -> None:
    with varied.season.read() as session:
        plain = plainly.figures(session, 2026, at(60 * 24 * days).astimezone(UTC))
        assert told(session, days) == plain
        last_year = plainly.figures(session, 2025, at(0))
        assert {("weighed dry twice", 0, ""), ("label errors", 0, "0 in 1 bags")} & last_year
    found = {name: value for name, value, _ in plain}
    assert found["weighed dry twice"] == 7 and found["too far apart"] and found["lost"] == 1
    assert found["fewer cores than planned"] and found["label errors"]
    assert found["wait for a decision on its hold"] == 3


@pytest.mark.parametrize("by", GROUPINGS)
def test_the_hay_of_the_year_is_what_every_number_of_every_lot_says(varied: Bench, by: str) -> None:
    with varied.season.read() as session:
        found, plain = hay_of_year(session, 2026, by), plainly.hay_groups(session, 2026, by)
    for quality in QUALITIES:
        assert list(found.groups[quality.key]) == plain[quality.key]
    groups = [one for some in plain.values() for one in some]
    assert any(one.spread for one in groups) and not all(one.spread for one in groups)


def test_pages_of_a_list_are_the_list_and_each_is_in_its_order(varied: Bench) -> None:
    now = at(60 * 24 * 30).astimezone(UTC)
    keys = ("late", "turnaround", "labels", "sampling:cores", "sampling:few", "reweighed", "reweighed:far")
    with varied.season.read() as session:
        for key in (*keys, "lost", "station:a bag and its tag", "station:the coarse grind"):
            whole = behind(session, key, 2026, now, limit=500).rows
            assert whole and tuple(_by_pages(session, key, now)) == whole, key
            at_most = _in_order(key, whole)
            assert at_most == sorted(at_most, reverse=key.startswith(("turn", "rew"))), key


def _by_pages(session: Session, key: str, now: Any) -> Iterator[tuple[object, ...]]:
    after: Any = ()
    while after is not None:
        page = behind(session, key, 2026, now, after, limit=2)
        assert len(page.rows) <= 2
        yield from page.rows
        after = page.next


def _in_order(key: str, rows: tuple[tuple[object, ...], ...]) -> list[Any]:
    place = {"turnaround": 6, "late": 4, "lost": 4, "station": 4, "reweighed": 4}.get(key.partition(":")[0])
    cells: list[Any] = [] if place is None else [row[place] for row in rows]
    return [abs(cell) for cell in cells] if key.startswith("rew") else cells


def test_a_report_is_the_slower_for_a_receipt_that_is_heard_of_late(varied: Bench) -> None:
    with varied.season.act("receive", "carl", {}) as session:
        sample = session.get_one(Sample, varied.samples[0].id)
        before = session.get_one(AnswerTime, sample.id).from_receipt
        # His phone lay in the car, and the office wrote him down for later.
        late = act(session, "carl", 235, heard=9500, origin={"phone": "in the car"})
        on_sample(session, "received", sample, {}, late)
    with varied.season.read() as session:
        took = session.get_one(AnswerTime, varied.samples[0].id)
        assert took.from_receipt is not None and before is not None and took.from_receipt > before
        assert told(session, 30) == plainly.figures(session, 2026, at(60 * 24 * 30).astimezone(UTC))


def rows_kept(season: Database) -> dict[str, set[tuple[Any, ...]]]:
    with season.engine.connect() as connection:
        return {
            table: {tuple(row) for row in connection.exec_driver_sql(f"select * from {table}")}
            for table in KEPT
        }


def test_a_season_from_before_is_counted_once_it_is_brought_up_to_date(varied: Bench) -> None:
    before = rows_kept(varied.season)
    assert all(before.values())
    with varied.season.engine.begin() as connection:
        for table in KEPT:
            connection.exec_driver_sql(f"drop table {table}")
        for index in (
            "weighing_again",
            "standing_under_way",
            "lot_season",
            "kept_refusal_code",
        ):
            connection.exec_driver_sql(f"drop index ix_{index}")
    upgraded_again(varied.season, "0019_tallies")
    after = rows_kept(varied.season)
    # Who was taken out of a group has left a row of none.
    for table in ("hay_count", "hay_share"):
        before[table] = {row for row in before[table] if row[-1]}
    assert after == before


def test_what_is_no_error_of_a_label_and_no_second_weight_leaves_no_row(season: Database) -> None:
    done(season, lambda s: make_dried(s))
    with season.read() as session:
        assert [one.wrong for one in session.scalars(select(LabelTally))] == [False]
        assert len(session.scalars(select(CoringTally)).all()) == 1
        assert session.scalars(select(DryAgain)).all() == session.scalars(select(AnswerTime)).all() == []
