"""A seeded season whose every count the test keeps by itself, and the programme's page beside it."""

from __future__ import annotations

import random
import statistics
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import (
    act,
    at,
    done,
    make_bag,
    make_cored,
    make_dried,
    make_in_oven,
    make_out_of_oven,
    make_plan,
    make_received,
    make_sealed,
    make_signed_away,
    make_tag,
    make_weighed,
    refused,
)
from tests.phones import Phone
from tests.result_files import Bench, released, row, taken_in, written
from tracker.errors import NotFound
from tracker.lookups.programme import Figure, behind, programme
from tracker.steps.append_event import on_sample
from tracker.steps.bag_cores import replace_tag
from tracker.steps.core_lot import core_lot
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample, plan_in_force
from tracker.storage.engine import Database

# Each maker with what its sample waits for then.
MAKERS = {
    make_plan: "coring",
    make_cored: "a bag and its tag",
    make_bag: "hand-over",
    make_sealed: "hand-over",
    make_signed_away: "receipt",
    make_received: "weighing in",
    make_weighed: "the oven",
    make_in_oven: "the end of drying",
    make_out_of_oven: "the dry weight",
    make_dried: "the coarse grind",
}
COUNT = 60


@dataclass
class Told:
    """What the test itself counted."""

    waits: Counter[str] = field(default_factory=Counter)
    bagged: int = 0
    replaced: int = 0
    lost: int = 0
    few: int = 0
    cored: int = 0


def figures(season: Database, now: datetime, year: int = 2026) -> dict[str, Figure]:
    with season.read() as session:
        return {one.name: one for part in programme(session, year, now) for one in part.figures}


def listed(season: Database, key: str, now: datetime) -> tuple[tuple[object, ...], ...]:
    with season.read() as session:
        return behind(session, key, 2026, now, limit=500).rows


def few_cores(session: Session, number: int) -> Sample:
    sample = make_plan(session, field=f"Field {number}")
    least = plan_in_force(session, sample.id).body["cores"]
    core_lot(session, sample, act(session, "tove", 60), cores_taken=int(least) - 2, deviations=["dusk"])
    return sample


@pytest.fixture
def told(season: Database) -> Told:
    chance, told = random.Random(7), Told()
    kinds = [*MAKERS, "few", "replaced", "lost"]
    for number, what in enumerate([*kinds, *chance.choices(kinds, k=COUNT - len(kinds))]):
        with season.act("make", "tove", {}) as session:
            _one(session, number, what, told)
    return told


def _one(session: Session, number: int, what: Any, told: Told) -> None:
    if what == "few":
        few_cores(session, number)
        told.few += 1
        told.cored += 1
        told.waits["a bag and its tag"] += 1
        return
    maker = what if callable(what) else make_bag
    more = {"load": f"L-{number}"} if maker in (make_in_oven, make_out_of_oven, make_dried) else {}
    sample = maker(session, field=f"Field {number}", **more)
    told.cored += maker is not make_plan
    told.bagged += maker not in (make_plan, make_cored)
    if what == "replaced":
        replace_tag(session, sample, make_tag(session), act(session, "tove", 70), reason="torn")
        told.replaced += 1
    if what == "lost":
        on_sample(session, "lost", sample, {"circumstances": "fell off"}, act(session, "tove", 80))
        told.lost += 1
    else:
        told.waits[MAKERS[maker]] += 1


def test_every_figure_is_what_the_test_counted(season: Database, told: Told) -> None:
    now = at(60 * 24 * 2).astimezone(UTC)
    found = figures(season, now)
    waits = {name.removeprefix("wait for "): one.value for name, one in found.items() if "wait for" in name}
    assert waits == dict(told.waits) and told.lost and told.replaced and told.few
    assert found["lost"].value == told.lost
    assert found["fewer cores than planned"].value == told.few
    assert found["fewer cores than planned"].words == f"of {told.cored} samples cored"
    expected = (Decimal(1000 * told.replaced) / told.bagged).quantize(Decimal("0.1"))
    assert found["label errors"].value == expected
    assert found["from coring to report, median"].value is None


def test_every_figure_opens_the_list_it_was_counted_from(season: Database, told: Told) -> None:
    now = at(60 * 24 * 30).astimezone(UTC)
    found = figures(season, now)
    for name in ("late", "lost", "fewer cores than planned", *(f"wait for {what}" for what in told.waits)):
        assert len(listed(season, found[name].key, now)) == found[name].value, name
    assert len(listed(season, "labels", now)) == told.replaced
    assert all(line[5] == "fell off" for line in listed(season, "lost", now))


def test_a_sample_is_late_once_nothing_happened_for_longer_than_the_rule(season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        make_bag(session)
    last = at(65).astimezone(UTC)
    week = timedelta(days=7)
    assert figures(season, last + week)["late"].value == 0
    assert figures(season, last + week + timedelta(seconds=1))["late"].value == 1


@pytest.mark.parametrize(
    ("hours", "words"), [(71, "1 for up to 2 days"), (73, "1 for 3 to 7 days"), (193, "1 for over 7 days")]
)
def test_ages_are_told_in_days_begun(season: Database, hours: int, words: str) -> None:
    with season.act("make", "tove", {}) as session:
        make_bag(session)
    found = figures(season, at(65).astimezone(UTC) + timedelta(hours=hours))
    assert found["wait for hand-over"].words == words


def test_the_turnaround_is_that_of_the_first_reports(bench: Bench) -> None:
    days = []
    for number, sample in enumerate(bench.samples):
        taken_in(bench, written([row(bench.codes[number])]), name=f"{number}.csv", minute=1400 + number)
        released(bench, sample, minute=1500 + 1440 * number)
        # Cored at 60 by the makers' clock.
        days.append((1500 + 1440 * number - 60) / 1440)
    released(bench, bench.samples[0], minute=9000, reason="once more")
    found = figures(bench.season, at(9999).astimezone(UTC))
    # By nearest rank, as the answer's day is promised: a time that really was.
    median = statistics.median_low(days)
    assert found["from coring to report, median"].value == Decimal(str(median)).quantize(Decimal("0.1"))
    assert found["from coring to report, 90th centile"].value == Decimal(str(max(days))).quantize(
        Decimal("0.1")
    )
    assert len(listed(bench.season, "turnaround", at(9999).astimezone(UTC))) == len(bench.samples)


def test_refusals_are_counted_by_reason_and_open_with_what_to_do(season: Database) -> None:
    for _ in range(3):
        refused(
            season,
            lambda session: replace_tag(
                session, make_bag(session), "H7K39QWX", act(session, "tove", 70), reason=""
            ),
        )
    now = season.clock()
    found = figures(season, now)
    assert found["reason-missing"].value == 3
    rows = listed(season, "refused:reason-missing", now)
    assert len(rows) == 3 and all(line[5] for line in rows)
    assert "reason-missing" not in figures(season, now, 2025)


def test_second_weights_are_held_against_the_first(season: Database) -> None:
    for number, second in enumerate(("251.0", "250.6", "248.0")):
        with season.act("make", "carl", {}) as session:
            # 250 g of hay, dry 251.1 g with the sack: 0.5 % of the hay are 1.25 g.
            sample = make_dried(session, field=f"Field {number}", load=f"L-{number}")
            _again(session, sample, second)
    now = at(9999).astimezone(UTC)
    found = figures(season, now)
    assert (found["weighed dry twice"].value, found["too far apart"].value) == (3, 1)
    assert (found["apart, median"].value, found["apart, greatest"].value) == (Decimal("0.50"), Decimal("3.1"))
    (far,) = listed(season, "reweighed:far", now)
    assert far[2:6] == (Decimal("251.1"), Decimal("248.0"), Decimal("-3.1"), Decimal("1.24"))


def _again(session: Session, sample: Sample, grams: str) -> None:
    weigh(session, sample, "dry again", grams, act(session, "ana", 1300), balance="B1")


def test_a_figure_that_is_none_is_refused(season: Database) -> None:
    with season.read() as session, pytest.raises(NotFound, match="no figure"):
        behind(session, "cows:3", 2026, at(0))


def test_what_phones_owe_and_tags_on_two_bags_are_counted(season: Database) -> None:
    code = str(done(season, lambda session: make_tag(session)))
    tove, ulf = Phone(), Phone("ulf", slow=3 * 24 * 60)
    tove.send(season, 200, *tove.bagged(code))
    ulf.send(season, 210, *ulf.bagged(code, 12, field="Hill"))
    # Two numbers of Tove's phone never come.
    tove.count += 2
    tove.send(season, 220, tove.entry("note", 215, {"about": code, "words": "damp"}))
    now = at(300).astimezone(UTC)
    found = figures(season, now)
    assert found["numbered and never come"].value == 2
    assert found["with a clock badly wrong"].value == 1
    assert found["tags on two bags"].value == 1
    assert len(listed(season, "phones:gaps", now)) == len(listed(season, "phones:clock", now)) == 1
    ((shown, bags, lots),) = listed(season, "contested", now)
    assert (str(shown).replace("-", ""), bags, lots) == (code, 2, "lot 1, lot 2")
    assert found["label errors"].words.startswith("1 in 2 bags")
