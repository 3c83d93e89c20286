"""A producer's season from what is kept: lots with a report, groups, feeds, and lots that others offer."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D

import pytest

from tests.makers import at, done, make_plan
from tests.result_files import Bench
from tests.season_makers import make_season
from tracker.domain.season_said import season_dict
from tracker.errors import NotFound, Refused
from tracker.lookups.season_plan import Season, season_of
from tracker.steps.add_people import add_producer

FIRST = date(2026, 11, 1)


def season(bench: Bench, **more: object) -> Season:
    with bench.season.read() as session:
        return season_of(session, "Oda Meadow", FIRST, 3, **more)  # type: ignore[arg-type]


def test_only_lots_with_a_released_report_are_planned_and_the_others_are_named(bench: Bench) -> None:
    make_season(bench)
    found = season(bench)
    assert [stack.lot for stack in found.stacks] == [sample.lot_id for sample in bench.samples[:3]]
    assert [lot for lot, _ in found.left_out] == [bench.samples[3].lot_id]
    assert "Nothing is released" in found.left_out[0][1]
    assert [group.name for group in found.groups] == ["bulls", "spring cows"]
    # Every bale of the makers' lots was weighed: 118 of 61 lb.
    assert found.assumed == () and {stack.tons for stack in found.stacks} == {D("3.599")}


def test_the_plan_is_made_of_the_reports_own_digits(bench: Bench) -> None:
    make_season(bench)
    found = season(bench)
    assert [(stack.hay.cp, stack.hay.ndf) for stack in found.stacks] == [
        (D("9.0"), D("66.0")),
        (D("12.0"), D("62.0")),
        (D("15.0"), D("58.0")),
    ]
    plan = found.plan()
    told = season_dict(plan)
    assert told["months"] == ["Nov 2026", "Dec 2026", "Jan 2027"]
    assert {row["group"] for row in told["fed"]} == {"bulls", "spring cows"}
    for row in told["lots"]:
        parts = ("eaten", "lost_in_feeding", "lost_in_storing", "left")
        assert float(row["tons"]) == pytest.approx(sum(float(row[part]) for part in parts), abs=0.03)


def test_a_lot_of_somebody_else_is_planned_when_it_is_offered(bench: Bench) -> None:
    make_season(bench)

    def step(session):  # type: ignore[no-untyped-def]
        add_producer(session, name="Kit Hollow", now=at(0))
        return make_plan(session, producer="Kit Hollow", field="Steep")

    theirs = done(bench.season, step).lot_id
    own = bench.samples[0].lot_id
    assert theirs in [lot for lot, _ in season(bench, offers={theirs: D(90)}).left_out]
    with pytest.raises(Refused) as caught:
        season(bench, offers={own: D(90)})
    assert caught.value.code == "lot-not-offered"
    with pytest.raises(NotFound):
        season(bench, offers={9999: D(90)})


def test_a_producer_without_animals_has_nothing_to_plan(bench: Bench) -> None:
    with pytest.raises(Refused) as caught:
        season(bench).plan()
    assert caught.value.code == "nothing-to-plan"


def test_the_whole_season_of_twelve_lots_four_groups_and_six_months_is_planned_in_seconds() -> None:
    # A ratio and no clock: pricing asks each lot and each stage once, so months of the same stage cost nothing.
    from tests.domain.feeding_makers import FEEDS, HAY_A, HAY_B
    from tracker.domain.herd import Group, checked_group
    from tracker.domain.season import Stack, months_from, plan_season

    groups = [
        *(
            checked_group(name=name, kind="cow", head=20, weight_lb="1250", calving=calving)
            for name, calving in (("spring cows", "2027-03-01"), ("fall cows", "2026-09-20"))
        ),
        Group("bulls", "bull", 2, D(1900)),
        Group("young bulls", "bull", 3, D(1500)),
    ]
    stacks = [
        Stack(n, f"lot {n}", HAY_A if n % 2 else HAY_B, 40, D(1000), "barn", date(2026, 7, 1))
        for n in range(12)
    ]
    steps: list[int] = []
    plan = plan_season(
        stacks, groups, months_from(FIRST, 6), FEEDS, progress=lambda done_, total: steps.append(total)
    )
    assert (len(steps), steps[0]) == (288, 288)
    assert sum((use.stack.tons for use in plan.lots), D(0)) == 240
    assert len({id(one.daily.mix) for one in plan.feedings if one.daily.group.name == "bulls"}) <= 12
