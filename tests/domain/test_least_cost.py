"""The cheapest one or two feeds: as computed, and against every mix on a grid."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from itertools import combinations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.domain.feeding_makers import BY_KEY, FEEDS, HAY_A, HAY_B, HAY_D, cow, feed, hay
from tracker.domain.animals import Animals
from tracker.domain.feed import Feed
from tracker.domain.hay import Hay
from tracker.domain.hay_eaten import eaten
from tracker.domain.least_cost import Mix, cheapest, lightest, problem
from tracker.domain.needs import need_of


def best(of: Hay, place: int = 0, feeds: tuple[Feed, ...] = FEEDS, **more: int) -> Mix:
    lb = eaten(cow(), of).models[place].lb
    found = cheapest(cow(), need_of(cow()), of, lb, feeds, **more)
    assert found is not None
    return found


def parts(mix: Mix) -> dict[str, float]:
    return {part.feed.key: round(float(part.dm_lb), 3) for part in mix.parts}


# Computed (regression), the three ways of reckoning intake: lb of dry matter and $ a head and day.
@pytest.mark.parametrize(
    ("of", "place", "wanted", "cost"),
    [
        (HAY_A, 0, {"ddgs": 5.078}, 0.677),
        (HAY_A, 1, {"ddgs": 6.375, "midds": 0.649}, 0.926),
        (HAY_A, 2, {"ddgs": 2.268}, 0.302),
        (HAY_B, 0, {"ddgs": 2.114}, 0.282),
        (HAY_B, 2, {}, 0),
    ],
)
def test_the_cheapest_stays_as_it_was_computed(
    of: Hay, place: int, wanted: dict[str, float], cost: float
) -> None:
    found = best(of, place)
    assert parts(found) == pytest.approx(wanted, abs=0.0011)
    assert found.cost is not None and float(found.cost) == pytest.approx(cost, abs=0.0006)


def test_what_binds_is_said() -> None:
    assert best(HAY_A, 1).binding == ("ddgs: at most 0.5 % of body weight a day",)
    assert best(HAY_A, 0).binding == ()


def test_hay_left_uneaten_is_reported() -> None:
    found = best(HAY_A)
    assert float(found.hay_lb) == pytest.approx(26.41 - 0.35 * 5.078, abs=0.01)


def test_a_second_feed_has_to_be_worth_its_work() -> None:
    single = best(HAY_A, 0, at_most=1)
    assert len(single.parts) == 1
    lb = eaten(cow(), HAY_A).headline
    dear = cheapest(
        cow(),
        need_of(cow()),
        HAY_A,
        lb,
        (*FEEDS, replace(feed("midds", price_ton="205"), key="bran")),
        worth=D(5),
    )
    assert dear is not None and len(dear.parts) == 1


def test_without_prices_nothing_is_cheapest_and_the_lightest_still_says_whether_it_can_be_done() -> None:
    bare = tuple(feed(one.key, price_ton="") for one in FEEDS)
    lb = eaten(cow(), HAY_A).headline
    assert cheapest(cow(), need_of(cow()), HAY_A, lb, bare) is None
    found = lightest(cow(), need_of(cow()), HAY_A, lb, bare)
    assert found is not None and found.parts and found.cost is None


def test_nothing_can_be_done_within_the_limits() -> None:
    corn = (BY_KEY["corn"],)
    assert cheapest(cow(), need_of(cow()), HAY_D, D(20), corn) is None
    assert lightest(cow(), need_of(cow()), HAY_D, D(20), corn) is None
    assert cheapest(cow(), need_of(cow()), HAY_D, D(20), ()) is None


def by_grid(animals: Animals, of: Hay, lb: D, feeds: tuple[Feed, ...], step: D) -> D | None:
    """The cost of the cheapest mix of one or two feeds among all that lie on a grid; None where none does."""
    found: list[D] = []
    for pair in combinations(feeds, 2):
        asked = problem(animals, need_of(animals), of, lb, pair)
        rows = [(adds, lacking) for lacking, adds in asked.wants]
        bounds = [(limit.shares, limit.most) for limit in asked.limits]
        most = animals.weight_lb / 100
        ticks = [step * count for count in range(int(most / step) + 2)]
        for one in ticks:
            for other in ticks:
                fits = all(a[0] * one + a[1] * other >= lacking for a, lacking in rows)
                if fits and all(s[0] * one + s[1] * other <= room for s, room in bounds):
                    found.append(one * (pair[0].cost_lb_dm or 0) + other * (pair[1].cost_lb_dm or 0))
                    break
    return min(found, default=None)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.integers(5, 12),
    st.integers(44, 60),
    st.integers(16, 30),
    st.sets(st.sampled_from(sorted(BY_KEY)), min_size=2, max_size=4),
    st.lists(st.integers(120, 500), min_size=4, max_size=4),
)
def test_no_mix_on_a_grid_is_cheaper(cp: int, tdn: int, lb: int, keys: set[str], prices: list[int]) -> None:
    feeds = tuple(feed(key, price_ton=str(price)) for key, price in zip(sorted(keys), prices, strict=False))
    of, step = hay(str(cp), str(tdn), "66"), D("0.25")
    found = cheapest(cow(), need_of(cow()), of, D(lb), feeds, worth=D(0))
    grid = by_grid(cow(), of, D(lb), feeds, step)
    if found is None:
        assert grid is None
        return
    assert found.cost is not None
    dearest = max(one.cost_lb_dm or D(0) for one in feeds)
    # The grid misses the corner by a step of each feed at most, or by all of a narrow piece.
    assert grid is None or grid >= found.cost - D("0.0001")
    if grid is not None and not found.binding:
        assert grid <= found.cost + 2 * step * dearest


@settings(max_examples=40, deadline=None)
@given(st.integers(5, 12), st.integers(44, 60), st.integers(16, 30))
def test_the_cheapest_closes_the_gap_within_every_limit(cp: int, tdn: int, lb: int) -> None:
    of = hay(str(cp), str(tdn), "66")
    found = cheapest(cow(), need_of(cow()), of, D(lb), FEEDS)
    if found is None or not found.parts:
        return
    asked = problem(cow(), need_of(cow()), of, D(lb), tuple(part.feed for part in found.parts))
    pounds = [part.dm_lb for part in found.parts]
    for lacking, adds in asked.wants:
        assert sum((a * lb for a, lb in zip(adds, pounds, strict=True)), D(0)) >= lacking - D("0.00001")
    for limit in asked.limits:
        assert sum((s * lb for s, lb in zip(limit.shares, pounds, strict=True)), D(0)) <= limit.most + D(
            "0.00001"
        )


def test_a_dearer_feed_never_makes_the_day_cheaper() -> None:
    lb = eaten(cow(), HAY_A).headline
    for key in BY_KEY:
        raised = tuple(feed(one.key, price_ton="450") if one.key == key else one for one in FEEDS)
        dear = cheapest(cow(), need_of(cow()), HAY_A, lb, raised)
        usual = cheapest(cow(), need_of(cow()), HAY_A, lb, FEEDS)
        assert dear and usual and dear.cost is not None and usual.cost is not None
        assert dear.cost >= usual.cost or BY_KEY[key].price_ton > 450  # type: ignore[operator]
