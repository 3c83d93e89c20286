"""The lot and how much of it one sample may speak for."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.lot import (
    BALE_MASSES,
    BALE_SHAPES,
    FORAGE_KINDS,
    LotFacts,
    checked,
    mass_is_assumed,
    mass_short_tons,
    size_check,
    split_offer,
)
from tracker.domain.practice import Practice
from tracker.errors import Refused

GOOD: dict[str, Any] = {
    "field_name": "North 40",
    "cutting": "2",
    "forage_kind": "alfalfa-grass",
    "harvest_date": "2026-06-14",
    "bale_shape": "Large-Square",
    "bale_count": "120",
    "bale_mass": "1100.0",
    "storage": "covered and raised",
    "today": date(2026, 7, 20),
}
IN_DRY_MATTER = Practice({"lot_limit_basis": "dry matter"})


def make_lot(**changes: Any) -> LotFacts:
    return checked(**{**GOOD, **changes})


def test_a_lot_keeps_its_bale_mass_as_it_was_given() -> None:
    lot = make_lot()
    assert lot == LotFacts(
        "North 40",
        2,
        "alfalfa-grass",
        date(2026, 6, 14),
        "large square",
        120,
        Decimal("1100.0"),
        "[lb_av]",
        "covered and raised",
    )
    assert str(lot.bale_mass) == "1100.0"


def test_a_lot_cut_today_is_no_lot_of_the_future() -> None:
    assert make_lot(harvest_date="2026-07-20").harvest_date == date(2026, 7, 20)


@pytest.mark.parametrize(
    ("name", "text", "code"),
    [
        ("field_name", "  ", "no-field-name"),
        ("cutting", "0", "not-a-count"),
        ("cutting", "13", "not-a-cutting"),
        ("forage_kind", "plastic", "unknown-forage-kind"),
        ("harvest_date", "14.6.2026", "not-a-date"),
        ("harvest_date", "2026-07-21", "harvest-in-future"),
        ("bale_shape", "square", "unknown-bale-shape"),
        ("bale_count", "0", "not-a-count"),
        ("bale_mass", "-5", "not-positive"),
        ("bale_mass", "60", "implausible-bale-mass"),
        ("bale_mass", "22000", "implausible-bale-mass"),
        ("bale_mass_unit", "t", "unknown-unit"),
        ("storage", "attic", "unknown-storage"),
    ],
)
def test_each_value_that_cannot_be_is_refused_by_name(name: str, text: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        make_lot(**{name: text})
    assert (caught.value.code, caught.value.field) == (code, name)
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("shape", "pounds"),
    # Government of Alberta, Bale moisture (from Collins 2004): typical bales.
    [
        ("round", "500"),
        ("round", "1000"),
        ("round", "1900"),
        ("small square", "60"),
        ("large square", "900"),
        ("large square", "1800"),
        # Shewmaker, Preventing hay fires; Sheaffer et al. 2000; Orloff 1999 (one ton).
        ("small square", "40"),
        ("small square", "90"),
        ("large square", "2000"),
    ],
)
def test_published_bales_are_plausible(shape: str, pounds: str) -> None:
    assert make_lot(bale_shape=shape, bale_mass=pounds).bale_mass == Decimal(pounds)


def test_a_round_bale_in_pounds_taken_for_kilograms_is_noticed() -> None:
    with pytest.raises(Refused, match="not the mass of one round bale"):
        make_lot(bale_shape="round", bale_mass="1300", bale_mass_unit="kg")


def test_every_kind_of_forage_has_one_of_four_classes() -> None:
    assert set(FORAGE_KINDS.values()) == {"legume", "legume-grass", "cool grass", "warm grass"}
    assert make_lot(forage_kind=" Tall_Fescue").forage_class == "cool grass"
    assert make_lot(forage_kind="bahiagrass").forage_class == "warm grass"


def test_small_squares_weigh_what_cornell_says() -> None:
    # Barkley, Determining forage inventories (Cornell 2022): 500 bales of 40 lb are 20,000 lb = 10 short tons.
    assert mass_short_tons(make_lot(bale_shape="small square", bale_count=500, bale_mass="40")) == 10


def test_kilograms_become_short_tons() -> None:
    # 1 short ton is 907.18474 kg (exact, from the pound of 1959); 400-kg bales as in Sheaffer et al. 2000.
    lot = make_lot(bale_mass="400", bale_mass_unit="kg", bale_count=55)
    assert float(mass_short_tons(lot)) == pytest.approx(55 * 400 / 907.18474, rel=1e-12)


def test_unweighed_bales_are_taken_as_usual_and_said_to_be() -> None:
    lot = make_lot(bale_mass=None, bale_shape="small square", bale_count=10_000)
    assert mass_is_assumed(lot) and mass_short_tons(lot) == 300
    with pytest.raises(Refused, match="taking 60 lb a bale"):
        size_check(lot)
    assert not mass_is_assumed(make_lot())


def test_a_lot_of_240_tons_is_offered_as_two() -> None:
    # Putnam & Orloff, NFTA: one sample for at most 200 tons; 400 bales of 1,200 lb are 240 tons.
    lot = make_lot(bale_count=401, bale_mass="1200")
    with pytest.raises(Refused) as caught:
        size_check(lot)
    assert caught.value.code == "lot-too-large"
    assert "2 lots of 201 and 200 bales" in caught.value.remedy
    assert split_offer(lot) == (201, 200)


def test_a_lot_at_the_limit_is_one_lot() -> None:
    lot = make_lot(bale_count=400, bale_mass="1000")
    size_check(lot)
    assert split_offer(lot) == (400,)


def test_a_limit_in_dry_matter_lets_more_fresh_hay_through() -> None:
    # 220 tons at 88 % dry matter (common practice for cured hay) are 193.6 tons of dry matter.
    lot = make_lot(bale_count=440, bale_mass="1000")
    size_check(lot, IN_DRY_MATTER)
    with pytest.raises(Refused, match="as received"):
        size_check(lot)


@given(
    shape=st.sampled_from(BALE_SHAPES),
    count=st.integers(1, 20_000),
    limit=st.integers(1, 300),
    basis=st.sampled_from(["as received", "dry matter"]),
)
def test_a_split_is_whole_even_and_within_the_limit(shape: str, count: int, limit: int, basis: str) -> None:
    practice = Practice({"lot_limit": Decimal(limit), "lot_limit_basis": basis})
    heavy = BALE_MASSES[shape].most
    lot = make_lot(bale_shape=shape, bale_count=count, bale_mass=heavy)
    parts = split_offer(lot, practice)
    assert sum(parts) == count
    assert max(parts) - min(parts) <= 1
    for part in set(parts):
        if part > 1:
            size_check(make_lot(bale_shape=shape, bale_count=part, bale_mass=heavy), practice)
