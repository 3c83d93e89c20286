"""A season from the bales to the plan. Hay and prices of the worked example are invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal as D
from itertools import product

import pytest

from tests.domain.feeding_makers import FEEDS, HAY_A, HAY_B, HAY_D, cow, hay
from tracker.domain.cautions import Caution
from tracker.domain.hay_eaten import eaten
from tracker.domain.herd import Group, checked_group
from tracker.domain.least_cost import cheapest
from tracker.domain.needs import need_of
from tracker.domain.practice import Practice
from tracker.domain.season import Month, Stack, months_from, plan_season
from tracker.domain.season_plan import Allocation, Choice, allocate
from tracker.errors import Refused

SPRING = checked_group(
    name="spring cows", kind="cow", head=30, weight_lb="1275", calving="2027-03-01", peak_milk_lb="20"
)
FALL = checked_group(
    name="fall cows", kind="cow", head=15, weight_lb="1275", calving="2026-10-01", peak_milk_lb="20"
)
# Nothing is lost in store here, so that the sums below are those of feeding alone.
NO_LOSS = Practice(
    {"storage_loss_barn": D(0), "storage_loss_unknown": D(0), "second_feed_saves": D("0.0001")}
)
WINTER = months_from(date(2026, 12, 1), 4)


def stack(lot: int, of=HAY_A, tons: str = "60", **more: object) -> Stack:  # type: ignore[no-untyped-def]
    """Bales of 1,000 lb, two to a ton."""
    given = {"storage": "barn", "harvested": date(2026, 7, 1), **more}
    return Stack(lot, f"lot {lot}", of, int(D(tons) * 2), D(1000), **given)  # type: ignore[arg-type]


LOTS = (stack(1), stack(2, HAY_B, "40"), stack(3, hay("6.5", "49", "72", "86"), "50"))


def plan(stacks=LOTS, groups=(SPRING, FALL), months=WINTER, practice=NO_LOSS, **more):  # type: ignore[no-untyped-def]
    return plan_season(stacks, groups, months, FEEDS, practice, **more)


def test_months_run_to_their_ends_from_the_day_asked() -> None:
    found = months_from(date(2026, 11, 16), 4)
    assert [(one.name, one.days) for one in found] == [
        ("Nov 2026", 15),
        ("Dec 2026", 31),
        ("Jan 2027", 31),
        ("Feb 2027", 28),
    ]
    with pytest.raises(Refused):
        months_from(date(2026, 11, 1), 13)


def test_a_bale_is_eaten_less_what_storing_and_feeding_lose() -> None:
    # Inventory chain, Progressive Forage, "How much hay do I need": 1,350 lb x 2.5 % = 33.75 lb dry; / 0.90 = 37.5;
    # / 0.92 storing = 40.76; / 0.95 feeding = 42.9 lb as baled for a cow and day.
    found = plan(
        [stack(1, replace(HAY_A, dm=D(90)), "300", storage="wrapped")],
        [checked_group(name="dry cows", kind="cow", head=1, weight_lb="1350", calving="2027-06-01")],
        [Month(date(2027, 1, 1), 31)],
        practice=Practice({"storage_loss_wrapped": D(8) * 9 * D("30.44") / 199}),
        waste=D(5),
    )
    (fed,) = found.feedings
    daily = fed.daily
    assert float(daily.stored) == pytest.approx(8, abs=1e-6)
    pounds = D("42.9") * daily.hay_lb / D("33.75")
    assert float(daily.tons * 2000 / 31) == pytest.approx(float(pounds), rel=1e-3)
    (use,) = found.lots
    assert float(use.eaten + use.lost_in_store + use.lost_in_feeding + use.left) == pytest.approx(300)


def test_storing_loses_in_proportion_to_the_time_and_never_more_than_half() -> None:
    # Purdue (quoted by Texas A&M): outside on the ground 76 % kept over the season.
    out = stack(1, storage="outside on ground")
    nine = date(2027, 4, 1)
    assert float(out.lost_in_store(nine)) == pytest.approx(24, abs=0.1)
    assert float(out.lost_in_store(date(2026, 11, 15))) == pytest.approx(12, abs=0.1)
    assert out.lost_in_store(date(2026, 6, 1)) == 0 and out.lost_in_store(date(2032, 1, 1)) == 50
    assert stack(1).lost_in_store(nine) < stack(1, storage="").lost_in_store(nine)


# Head, and days since and to calving in the middle of December to March, as the example has them.
WORKED = {
    "spring cows": (30, [(None, 88), (None, 57), (None, 27), (15, None)]),
    "fall cows": (15, [(76, None), (107, 267), (136, 237), (167, 207)]),
}


def worked_choices() -> tuple[list[Choice], dict[tuple[str, int], D]]:
    choices, wanted = [], {}
    for one, lost in zip(LOTS, (15, 15, 20), strict=True):
        for name, (head, stages) in WORKED.items():
            for place, (since, to) in enumerate(stages):
                animals = cow("1275", days_since_calving=since, days_to_calving=to, peak_milk_lb="20")
                mix = cheapest(animals, need_of(animals), one.hay, eaten(animals, one.hay).headline, FEEDS)
                assert mix is not None and mix.cost is not None
                head_days = head * WINTER[place].days
                tons = head_days * mix.hay_lb / one.hay.dm * 100 / (1 - D(lost) / 100) / 2000
                choices.append(Choice(one.lot, name, place, tons, head_days * mix.cost))
                wanted.setdefault((name, place), tons)
    return choices, wanted


def test_the_worked_season_comes_out_as_it_was_computed() -> None:
    # Computed before the programme was written (a regression; hay and prices invented): the spring cows eat lot 1
    # till they calve and then lot 2, the fall cows lot 2 and then lot 1; one more ton of lot 2 saves 16.52 $. Their
    # third month is shared, 0.93 of it on lot 2; one lot a month gives it to lot 1. That reckoning had no rule for
    # the milk of the first 30 days, which makes the sums of money larger here and the plan no other.
    choices, wanted = worked_choices()
    held = {one.lot: one.tons for one in LOTS}
    shares, whole = (allocate(choices, held, wanted, one_lot=one_lot) for one_lot in (False, True))
    assert shares.worth is not None and float(shares.worth[2]) == pytest.approx(16.52, abs=0.1)
    assert (shares.worth[1], shares.worth[3]) == (0, 0)

    def lots_of(found: Allocation) -> dict[str, list[int]]:
        best = sorted(found.shares.items(), key=lambda item: (item[0].month, -item[1]))
        return {name: [choice.lot for choice, _ in best if choice.group == name] for name in WORKED}

    assert lots_of(shares) == {"spring cows": [1, 1, 1, 2], "fall cows": [2, 2, 2, 1, 1]}
    assert lots_of(whole) == {"spring cows": [1, 1, 1, 2], "fall cows": [2, 2, 1, 1]}
    assert shares.cost < whole.cost
    parts = [s for choice, s in shares.shares.items() if (choice.group, choice.month) == ("fall cows", 2)]
    assert max(float(part) for part in parts) == pytest.approx(0.93, abs=0.08)


def test_one_lot_a_month_equals_every_plan_tried() -> None:
    months = WINTER[:3]
    found = plan(months=months, one_lot=True)
    dailies = {
        (one.daily.stack.lot, one.daily.group.name, one.daily.month.name): one.daily
        for place in LOTS
        for one in plan([replace(place, bales=10_000)], months=months, one_lot=True).feedings
    }
    keys = list(product(("spring cows", "fall cows"), [month.name for month in months]))
    best: D | None = None
    for lots in product((1, 2, 3), repeat=len(keys)):
        used = {lot: D(0) for lot in (1, 2, 3)}
        cost = D(0)
        for lot, key in zip(lots, keys, strict=True):
            daily = dailies[(lot, *key)]
            used[lot] += daily.tons
            cost += daily.supplement_cost
        if all(used[one.lot] <= one.tons for one in LOTS) and (best is None or cost < best):
            best = cost
    assert best is not None and float(found.supplement_cost) == pytest.approx(float(best), abs=1e-4)


def test_cows_in_milk_get_the_better_hay() -> None:
    on = {
        (one.daily.group.name, one.daily.month.name): one.daily.stack.lot
        for one in plan(one_lot=True).feedings
    }
    assert on["fall cows", "Dec 2026"] == 2
    assert {lot for (name, _), lot in on.items() if name == "spring cows"} >= {1}


def test_too_little_hay_is_said_in_tons_and_what_a_ton_would_do() -> None:
    found = plan([stack(1, tons="10")], [SPRING])
    assert found.short and found.short_tons > 30
    (use,) = found.lots
    assert use.left == 0 and use.worth_short is not None and use.worth_short > 0


def test_hay_that_is_bought_costs_what_it_takes() -> None:
    own, offered = stack(1, tons="5"), replace(stack(2, tons="90"), price_ton=D(80))
    found = plan([own, offered], [SPRING])
    bought = sum((one.tons for one in found.feedings if one.daily.stack.lot == 2), D(0))
    assert float(found.hay_cost) == pytest.approx(float(bought * 80)) and bought > 0


def test_hay_that_is_not_made_yet_or_lacks_too_much_is_not_fed_and_says_why() -> None:
    late = replace(LOTS[1], harvested=date(2027, 1, 15))
    found = plan([LOTS[0], late], [FALL])
    said = {(one.stack.lot, one.month.name): one.why_not for one in found.barred}
    assert said[2, "Dec 2026"] == "It is not made yet." and (2, "Mar 2027") not in said
    corn_alone = plan_season([stack(4, HAY_D)], [FALL], WINTER, FEEDS[:1], NO_LOSS)
    assert {"supplements" in one.why_not for one in corn_alone.barred} == {True} and corn_alone.short


def test_hay_with_too_much_nitrate_is_for_no_group_that_carries() -> None:
    # Clemson Univ., nitrate scale: over 4,000 ppm of nitrate nitrogen, do not feed.
    bad = Caution("nitrate-do-not-feed", "nitrate", "Do not feed it.", "Clemson Univ.")
    found = plan([replace(LOTS[0], cautions=(bad,)), LOTS[1]], [SPRING])
    assert {one.daily.stack.lot for one in found.feedings} == {2}
    assert {one.why_not for one in found.barred} == {"Do not feed it."}


def test_nothing_to_plan_and_no_prices_are_refused() -> None:
    for stacks, groups, feeds, code in (
        ([], [SPRING], FEEDS, "nothing-to-plan"),
        (LOTS, [], FEEDS, "nothing-to-plan"),
        (LOTS, [SPRING], [replace(one, price_ton=None) for one in FEEDS], "no-prices"),
    ):
        with pytest.raises(Refused) as caught:
            plan_season(stacks, groups, WINTER, feeds)
        assert caught.value.code == code


def test_progress_counts_every_lot_group_and_month() -> None:
    steps: list[tuple[int, int]] = []
    plan(LOTS[:2], [SPRING], progress=lambda done, total: steps.append((done, total)))
    assert steps == [(n, 8) for n in range(1, 9)]


def test_a_group_of_the_same_stage_is_asked_once() -> None:
    bulls = Group("bulls", "bull", 2, D(1900))
    found = plan(LOTS[:1], [bulls])
    assert len({id(one.daily.mix) for one in found.feedings}) == 1
