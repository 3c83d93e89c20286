"""The gap and what closes it: published sums, and the worked examples as they were computed (regression)."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.domain.feeding_makers import BY_KEY, HAY_A, HAY_B, HAY_C, HAY_D, carrying, cow, feed, hay
from tracker.domain.animals import BULL, Animals, checked
from tracker.domain.feeding import (
    ENERGY,
    MICROBES,
    PROTEIN,
    Closing,
    closing,
    limits,
    protein_first,
    shortfall,
    substitution,
)
from tracker.domain.hay import Hay
from tracker.domain.hay_eaten import eaten
from tracker.domain.needs import Need, need_of, nem_of_tdn, tdn_lb
from tracker.domain.practice import Practice


def wanting(tdn: str, cp: str, of: Hay) -> Need:
    """A need printed as lb of TDN and of CP, on hay of this TDN."""
    return Need(D(tdn) * nem_of_tdn(of.tdn) / of.tdn * 100, D(cp), (), D(0), D(1))


def close(
    key: str, lb: D | str, of: Hay = HAY_A, r: str | None = None, animals: Animals | None = None
) -> Closing:
    one = BY_KEY[key]
    rate = substitution(one, of) if r is None else D(r)
    return closing(need_of(animals or cow()), of, D(lb), one, rate)


def alone(key: str, lb: D, of: Hay = HAY_A, animals: Animals | None = None) -> D:
    rooms = [limit.alone() for limit in limits(animals or cow(), of, lb, (BY_KEY[key],))]
    return min(room for room in rooms if room is not None)


def test_pine_bluffs_pregnant_cow_is_carried() -> None:
    # Fernandez, Univ. of Arkansas Pine Bluff: 22 lb of dry hay with 60 % TDN and 9 % CP bring 13.2 and 1.98 lb; a
    # 1,100-lb pregnant cow needs 11 and 1.5.
    of = hay("9", "60", "60")
    short = shortfall(wanting("11", "1.5", of), of, D(22))
    assert float(tdn_lb(short.nem_mcal, of.tdn)) == pytest.approx(11 - 13.2)
    assert float(short.cp_lb) == pytest.approx(1.5 - 1.98)


def test_alabamas_nursing_cow_lacks_what_is_printed() -> None:
    # Alabama Farmers' news 2007: 12 lb TDN and 3 lb CP needed, 10 lb of hay with 48 and 9 % bring 4.8 and 0.9. Corn
    # of 7.5 % CP for the protein alone would be 28 lb.
    of = hay("9", "48", "65")
    need = wanting("12", "3", of)
    short = shortfall(need, of, D(10))
    assert float(tdn_lb(short.nem_mcal, of.tdn)) == pytest.approx(7.2)
    assert float(short.cp_lb) == pytest.approx(2.1)
    corn = closing(need, of, D(10), feed("corn", cp="7.5"), D(0))
    assert corn.protein_lb is not None and float(corn.protein_lb) == pytest.approx(28)
    gluten = closing(need, of, D(10), feed("gluten", cp="18"), D(0))
    assert gluten.protein_lb is not None and float(gluten.protein_lb) == pytest.approx(11.7, abs=0.05)


# Montana State Univ., Pearson squares: hay and supplement in place of each other, lb for lb (r = 1).
@pytest.mark.parametrize(
    ("hay_cp", "feed_cp", "target", "whole", "wanted"),
    [("8.95", "40", "9.8", "20.4", 0.55), ("10.8", "12.25", "11", "100", 13.8)],
)
def test_montanas_squares_come_out(hay_cp: str, feed_cp: str, target: str, whole: str, wanted: float) -> None:
    need = Need(D(0), D(whole) * D(target) / 100, (), D(0), D(1))
    found = closing(need, hay(hay_cp, "54", "60"), D(whole), feed(cp=feed_cp), D(1)).protein_lb
    assert found is not None and float(found) == pytest.approx(wanted, abs=0.02)


def test_soybean_hulls_cost_what_alabama_prints() -> None:
    # Alabama Extension: $180 a ton, 90 % dry matter, 75 % TDN: 1,350 lb of TDN a ton, $0.13 a pound of it.
    cost = feed(price_ton="180").cost_lb_dm
    assert cost is not None and float(cost / D("0.75")) == pytest.approx(0.1333, abs=0.0001)


# Computed (regression): cow of 1,275 lb at the peak. Gap in Mcal and lb by each way of reckoning intake.
@pytest.mark.parametrize(
    ("of", "place", "lb", "mcal", "cp"),
    [
        (HAY_A, 0, 26.41, 4.65, 0.853),
        (HAY_A, 1, 22.84, 6.33, 1.142),
        (HAY_A, 2, 31.88, 2.08, 0.410),
        (HAY_B, 0, 27.35, 1.87, -0.126),
        (HAY_B, 1, 25.08, 3.13, 0.132),
        (HAY_B, 2, 31.88, -0.65, -0.642),
        (HAY_D, 1, 20.68, 9.34, 1.854),
    ],
)
def test_the_gap_stays_as_it_was_computed(of: Hay, place: int, lb: float, mcal: float, cp: float) -> None:
    hay_lb = eaten(cow(), of).models[place].lb
    short = shortfall(need_of(cow()), of, hay_lb)
    assert float(hay_lb) == pytest.approx(lb, abs=0.006)
    assert float(short.nem_mcal) == pytest.approx(mcal, abs=0.006)
    assert float(short.cp_lb) == pytest.approx(cp, abs=0.0006)


# Computed (regression): lb of dry matter, as fed, driver; r as usual and r = 0.
@pytest.mark.parametrize(
    ("key", "dm", "fed", "driver", "spared"),
    [
        ("ddgs", 5.08, 5.64, ENERGY, 4.30),
        ("gluten", 6.15, 6.83, ENERGY, 5.05),
        ("midds", 6.15, 6.83, ENERGY, 5.05),
        ("soyhulls", 9.30, 10.34, PROTEIN, 7.11),
        ("sbm", 4.97, 5.59, ENERGY, 4.97),
    ],
)
def test_amounts_stay_as_they_were_computed(
    key: str, dm: float, fed: float, driver: str, spared: float
) -> None:
    lb = eaten(cow(), HAY_A).headline
    found = close(key, lb)
    assert found.dm_lb is not None and float(found.dm_lb) == pytest.approx(dm, abs=0.011)
    assert float(BY_KEY[key].as_fed(found.dm_lb)) == pytest.approx(fed, abs=0.011)
    assert found.driver == driver
    none_left = close(key, lb, r="0").dm_lb
    assert none_left is not None and float(none_left) == pytest.approx(spared, abs=0.011)


@pytest.mark.parametrize(
    ("key", "dm", "fed"),
    [("ddgs", 2.11, 2.35), ("corn", 3.05, 3.46), ("midds", 2.58, 2.86), ("soyhulls", 2.84, 3.16)],
)
def test_better_hay_stays_as_it_was_computed(key: str, dm: float, fed: float) -> None:
    found = close(key, eaten(cow(), HAY_B).headline, HAY_B).dm_lb
    assert found is not None and float(found) == pytest.approx(dm, abs=0.006)
    assert float(BY_KEY[key].as_fed(found)) == pytest.approx(fed, abs=0.006)


def test_a_dry_cow_on_middling_hay_lacks_nothing() -> None:
    # Computed (regression): day 150, 8.807 for maintenance and 0.512 Mcal for the calf, 1.502 lb of CP.
    animals = carrying("1275", 150)
    need, found = need_of(animals), eaten(animals, HAY_C)
    assert float(need.nem_mcal) == pytest.approx(9.319, abs=0.001)
    assert float(need.cp_lb) == pytest.approx(1.502, abs=0.001)
    assert [round(float(one.lb), 2) for one in found.models] == [24.50, 23.18, 28.05]
    for one in found.models:
        short = shortfall(need, HAY_C, one.lb)
        assert short.nem_mcal < 0 and short.cp_lb < 0


def test_no_single_feed_is_safe_on_the_worst_hay() -> None:
    lb = eaten(cow(), HAY_D).models[1].lb
    for key in BY_KEY:
        found = close(key, lb, HAY_D).dm_lb
        assert found is not None and found > alone(key, lb, HAY_D), key


def test_corn_is_over_its_limit_on_poor_hay_and_within_it_on_better() -> None:
    for of, safe in ((HAY_A, False), (HAY_B, True)):
        lb = eaten(cow(), of).headline
        found = close("corn", lb, of).dm_lb
        assert found is not None and (found <= alone("corn", lb, of)) == safe


def test_protein_comes_first_where_tdn_is_over_seven_times_the_protein() -> None:
    # Moore et al. 1999.
    assert protein_first(hay("7.4", "52", "67")) and not protein_first(hay("7.5", "52", "67"))


@pytest.mark.parametrize(
    ("key", "poor", "usual"),
    [("sbm", 0, 0), ("csm", 0, 0), ("ddgs", 0, 0.35), ("corn", 0.6, 0.6), ("cubes", 0, 0.35)],
)
def test_hay_left_for_a_pound_of_feed(key: str, poor: float, usual: float) -> None:
    assert float(substitution(BY_KEY[key], HAY_D)) == poor
    assert float(substitution(BY_KEY[key], HAY_A)) == usual


def test_the_microbes_want_seven_percent_of_what_is_eaten() -> None:
    # By hand: 20 lb at 5 % lack 0.40 lb of protein to 7 %; a pound of 27 % feed brings 0.20 over its own 7 %: 2.0 lb.
    none = Need(D(0), D(0), (), D(0), D(1))
    found = closing(none, hay("5", "46", "74"), D(20), feed("cubes", cp="27"), D(0))
    assert found.microbe_lb == 2 and found.driver == MICROBES
    assert closing(none, HAY_A, D(20), feed("cubes"), D(0)).dm_lb == 0
    # Hay with enough asks no feed for it, not even one of less.
    assert closing(need_of(cow()), HAY_A, D(20), feed(cp="6"), D("0.35")).microbe_lb == 0


def test_a_feed_poorer_than_what_it_replaces_closes_nothing() -> None:
    found = closing(need_of(cow()), HAY_A, D(20), feed(tdn="30"), D(1))
    assert found.energy_lb is None and found.dm_lb is None and found.driver == ENERGY


def test_a_feed_that_brings_nothing_closes_nothing() -> None:
    found = closing(need_of(cow()), HAY_D, D(20), feed(tdn="0", cp="0"), D("0.35"))
    assert (found.energy_lb, found.protein_lb, found.microbe_lb) == (None, None, None) and found.dm_lb is None


def test_a_feed_poorer_in_protein_than_the_hay_it_replaces_may_not_eat_up_what_was_enough() -> None:
    # By hand: 20 lb of hay with 16 % protein bring 3.2 lb; 4 lb of a feed with 2 % leave 4.8 lb of it and bring 2.51.
    rich, need = hay("16", "45", "60"), need_of(cow())
    poor = closing(need, rich, D(20), feed("corn", cp="2", tdn="85"), D("1.2"))
    assert poor.energy_lb is not None and poor.energy_lb > 4
    assert need.cp_lb < D("3.2") and poor.protein_lb is None and poor.dm_lb is None


def test_a_tub_is_counted_for_its_protein_alone() -> None:
    tub = feed("cubes", kind="tub")
    assert closing(need_of(cow()), HAY_A, D(26), tub, D(0)).energy_lb is None
    dry = closing(need_of(carrying("1275", 150)), hay("5", "60", "60"), D(24), tub, D(0))
    assert dry.energy_lb == 0 and dry.protein_lb is not None and dry.protein_lb > 0


def names(found: D, animals: Animals, of: Hay, one: str, lb: str, **practice: str) -> set[str]:
    rules = Practice({name: D(value) for name, value in practice.items()})
    known = limits(animals, of, D(lb), (BY_KEY[one],), rules)
    return {limit.name for limit in known if (room := limit.alone()) is not None and room <= found}


# Sources of the limits: tracker/domain/feeding_rules.py and docs/feeding.md. 1,000 lb: 1 % is 10 lb.
@pytest.mark.parametrize(
    ("one", "lb", "limit"),
    [
        ("corn", "2.5", "starch"),
        ("soyhulls", "10", "all supplement"),
        ("ddgs", "5", "own limit"),
        ("csm", "4", "own limit"),
    ],
)
def test_each_limit_binds_where_it_says(one: str, lb: str, limit: str) -> None:
    animals = cow("1000")
    assert limit in names(D(lb), animals, HAY_A, one, "24")
    assert limit not in names(D(lb) - D("0.01"), animals, HAY_A, one, "24")


def test_fat_and_sulfur_are_those_of_all_that_is_eaten() -> None:
    # By hand, r = 0: hay 20 lb with 2 % fat; x lb of 17.5 % fat make 6 % at 4 x 20 / 11.5 = 6.957 lb.
    rich = feed("cottonseed", kind="oilseed meal", cp="40")
    (fat,) = [limit for limit in limits(cow(), HAY_A, D(20), (rich,)) if limit.name == "fat"]
    room = fat.alone()
    assert room is not None and float(room) == pytest.approx(6.957, abs=0.001)
    # Hay 20 lb with 0.2 % sulfur; x lb of 0.69 % make 0.4 % at 0.2 x 20 / 0.29 = 13.79 lb.
    strong = feed("ddgs", cp="40")
    (sulfur,) = [limit for limit in limits(cow(), HAY_A, D(20), (strong,)) if limit.name == "sulfur"]
    room = sulfur.alone()
    assert room is not None and float(room) == pytest.approx(13.793, abs=0.001)


def test_sulfur_measured_in_the_hay_takes_the_place_of_the_usual() -> None:
    of = hay("8.1", "52", "67", sulfur=D("0.39"))
    assert "sulfur" in names(D(2), cow(), of, "ddgs", "20")
    assert "sulfur" not in names(D(2), cow(), HAY_A, "ddgs", "20")


def test_long_hay_has_to_stay() -> None:
    # 0.5 % of 1,000 lb stays: of 6 lb of hay one may go, at 0.35 lb for each lb of feed 2.857 lb.
    (limit,) = [
        one for one in limits(cow("1000"), HAY_A, D(6), (BY_KEY["soyhulls"],)) if one.name == "long hay"
    ]
    room = limit.alone()
    assert room is not None and float(room) == pytest.approx(1 / 0.35)


def test_cottonseed_is_for_no_bull_and_at_most_15_percent_of_the_diet() -> None:
    # Univ. of Florida AN134.
    seed = feed("cottonseed", marks="cottonseed", most_of_diet="15")
    bull = checked(kind=BULL, weight_lb="1800")
    assert (
        min(
            limit.alone() or D(0) for limit in limits(bull, HAY_A, D(30), (seed,)) if limit.name == "gossypol"
        )
        == 0
    )
    (share,) = [one for one in limits(cow(), HAY_A, D(20), (seed,)) if one.name == "share of diet"]
    room = share.alone()
    # By hand: x = 0.15 (20 + 0.65 x).
    assert room is not None and float(room) == pytest.approx(3 / (1 - 0.15 * 0.65))


def test_urea_is_left_out_beside_poor_hay() -> None:
    tub = feed("cubes", marks="urea")
    assert "urea" in {one.name for one in limits(cow(), HAY_D, D(20), (tub,))}
    assert "urea" not in {one.name for one in limits(cow(), HAY_A, D(20), (tub,))}


HAYS = st.builds(
    lambda cp, over, ndf: hay(str(cp), str(over), str(ndf)),
    st.integers(4, 20),
    st.integers(40, 64),
    st.integers(36, 76),
)


@given(
    HAYS, st.integers(10, 35), st.sampled_from(sorted(BY_KEY)), st.sampled_from(["0", "0.35", "0.6", "1.2"])
)
def test_the_amount_closes_the_gap_and_no_less_does(of: Hay, lb: int, key: str, r: str) -> None:
    need, one, rate = need_of(cow()), BY_KEY[key], D(r)
    found = closing(need, of, D(lb), one, rate).dm_lb
    if found is None:
        return

    def short(pounds: D) -> tuple[D, D]:
        left = shortfall(need, of, D(lb) - rate * pounds)
        return left.nem_mcal - pounds * nem_of_tdn(one.tdn), left.cp_lb - pounds * one.cp / 100

    assert all(lack <= D("1e-9") for lack in short(found))
    if found > 0 and of.cp >= 7:
        assert any(lack > 0 for lack in short(found * D("0.99")))


@given(HAYS, st.integers(10, 30), st.sampled_from(sorted(BY_KEY)))
def test_more_hay_eaten_never_asks_for_more_supplement(of: Hay, lb: int, key: str) -> None:
    less, more = close(key, str(lb), of).dm_lb, close(key, str(lb + 1), of).dm_lb
    if of.cp >= 7 and less is not None and more is not None:
        assert more <= less


@given(HAYS, st.integers(15, 35), st.sampled_from(sorted(BY_KEY)))
def test_leaving_more_hay_never_asks_for_less(of: Hay, lb: int, key: str) -> None:
    found = [close(key, str(lb), of, r=r).dm_lb for r in ("0", "0.35", "0.6", "1.2")]
    known = [one for one in found if one is not None]
    # Under 7 % protein it can: the less poor hay is eaten, the less has to be brought to 7 %.
    assert of.cp < 7 or (known == sorted(known) and None not in found[: len(known)])
