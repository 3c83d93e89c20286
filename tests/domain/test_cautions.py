"""Cautions: by which scale, from where on, and who decides."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.analysis import as_nitrate
from tracker.domain.cautions import (
    ASH_LIMITS,
    SAFE_MOISTURE,
    cautions_for,
    hot_hay,
    moisture,
    nitrate,
    seen_at_the_desk,
    soil,
)
from tracker.domain.heat import HOT_HAY
from tracker.domain.intake import CONDITIONS
from tracker.domain.lot import BALE_SHAPES
from tracker.domain.practice import Practice
from tracker.domain.results import FORAGE_CLASSES


@pytest.mark.parametrize(
    ("nitrogen", "code"),
    # Clemson Agricultural Service Laboratory, NO3-N in ppm of dry matter; a printed limit belongs to both steps,
    # and the safer is taken.
    [
        ("999.9", None),
        ("1000", "nitrate-pregnant"),
        ("1499.9", "nitrate-pregnant"),
        ("1500", "nitrate-half"),
        ("2000", "nitrate-third"),
        ("3499.9", "nitrate-third"),
        ("3500", "nitrate-quarter"),
        ("3999.9", "nitrate-quarter"),
        ("4000", "nitrate-do-not-feed"),
    ],
)
def test_nitrate_is_judged_by_the_named_scale(nitrogen: str, code: str | None) -> None:
    found = nitrate({"NO3-N": D(nitrogen)})
    assert [one.code for one in found] == ([code] if code else [])
    assert all("Clemson" in one.source and "Clemson" in one.words for one in found)


def test_one_number_means_two_things_in_two_forms() -> None:
    # Univ. of Nebraska 2016: 3,000 ppm is over the concern level as NO3-N and under a third of it as NO3.
    assert nitrate({"NO3": D(3000)}) == ()
    (caution,) = nitrate({"NO3-N": D(3000)})
    assert "13280 mg/kg" in caution.words and "3000 mg/kg as NO3-N" in caution.words


def test_the_level_of_concern_is_cautioned_in_every_form() -> None:
    # Univ. of Nebraska 2016: NO3 9,000 to 10,000 is NO3-N 2,000 to 2,300.
    assert nitrate({"NO3": D(9000)})[0].code == nitrate({"NO3-N": D(2034)})[0].code == "nitrate-third"
    assert nitrate({"KNO3": D(15000)})[0].code == "nitrate-third"


def test_of_several_forms_the_highest_counts() -> None:
    assert nitrate({"NO3": D(100), "NO3-N": D(4500)})[0].code == "nitrate-do-not-feed"


def test_very_high_protein_asks_for_a_nitrate_test() -> None:
    # Shewmaker (Idaho), Interpreting forage quality tests: above 25 % CP.
    assert nitrate({"CP": D(25)}) == ()
    assert nitrate({"CP": D("25.1")})[0].code == "nitrate-not-tested"
    assert nitrate({"CP": D("25.1"), "NO3": D(500)}) == ()


def codes(values: dict[str, D], practice: Practice | None = None, dm: str = "88", **rest: str) -> list[str]:
    found = cautions_for(values, D(dm), "round", (), practice=practice or Practice(), **rest)
    return [one.code for one in found]


def test_heat_damage_is_cautioned_above_the_programmes_limit() -> None:
    # Univ. of Nebraska 10 %, NDSU AS-1080 12 % of CP.
    assert codes({"CP": D(18), "ADICP": D("1.8")}) == []
    assert codes({"CP": D(18), "ADICP": D("1.81")}) == ["heat-damage"]
    assert codes({"CP": D(18), "ADICP": D("1.9")}, Practice({"bound_protein_limit": D(12)})) == []
    assert codes({"ADICP": D(5)}) == codes({"CP": D(18)}) == []


@pytest.mark.parametrize(
    ("shape", "most"),
    # Government of Alberta, Bale moisture: upper ends of 18-20, 15-18 and 12-16 %.
    [("small square", 20), ("round", 18), ("large square", 16)],
)
def test_moist_hay_is_cautioned_by_the_shape_of_its_bales(shape: str, most: int) -> None:
    assert moisture(D(100 - most), shape) == ()
    (caution,) = moisture(D(100 - most) - D("0.1"), shape)
    assert caution.code == "moist-hay" and f"{most}.1 %" in caution.words
    assert moisture(None, shape) == moisture(D(60), "stack") == ()


def test_every_shape_of_bale_and_class_of_forage_has_its_limit() -> None:
    assert set(SAFE_MOISTURE) == set(BALE_SHAPES)
    assert set(ASH_LIMITS) == set(FORAGE_CLASSES)


def test_ash_above_what_plants_hold_speaks_for_soil() -> None:
    # Ohio State Univ. 2017: at most 3 % from outside, alfalfa 11, grass 9 in all.
    assert soil({"ash": D(11)}, "legume") == soil({"ash": D(9)}, "cool grass") == soil({"ash": D(11)}) == ()
    assert (
        soil({"ash": D("11.1")}, "legume")[0].code
        == soil({"ash": D("9.1")}, "warm grass")[0].code
        == "soil-in-hay"
    )
    assert codes({"ash": D(10)}, forage_class="cool grass") == ["soil-in-hay"]


def test_what_the_desk_saw_is_passed_on() -> None:
    found = seen_at_the_desk(("mould", "dry", "hot", "mould"))
    assert [one.code for one in found] == ["mould-seen", "hot-seen"]
    assert seen_at_the_desk(("dry", "torn")) == ()
    assert {"mould", "hot", "foreign matter"} <= set(CONDITIONS)


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"),
    # Limits in F: Ohio State (Sulc) 120, Cornell 140 and 150, Penn State 160 and 190, Mississippi State 175 to 212.
    [
        ("48.8", None),
        ("48.9", 120),
        ("60", 140),
        ("66", 150),
        ("71.2", 160),
        ("79.5", 175),
        ("100", 212),
        ("150", 212),
    ],
)
def test_a_heating_stack_gets_the_stricter_published_advice(celsius: str, fahrenheit: int | None) -> None:
    found = hot_hay(D(celsius))
    advice = {step.fahrenheit: step.advice for step in HOT_HAY}
    assert [advice[fahrenheit] in one.words for one in found] == [True] if fahrenheit else found == ()


def test_the_heat_steps_fall_and_their_celsius_is_the_published_one() -> None:
    limits = [step.fahrenheit for step in HOT_HAY]
    assert limits == sorted(limits, reverse=True)
    # California's CDQAP 130 F is 54 C; 150, 160, 175 and 190 F are 66, 71, 79 and 88 C by definition.
    celsius = {step.fahrenheit: int(step.celsius) for step in HOT_HAY}
    assert [celsius[f] for f in (130, 150, 160, 175, 190)] == [54, 66, 71, 79, 88]


def worst_hay() -> dict[str, D]:
    return {"CP": D(18), "ADICP": D(4), "ash": D(20), "NO3": as_nitrate(D(5000), "NO3-N")}


def test_every_caution_says_it_is_one_and_leaves_the_decision_to_others() -> None:
    found = (
        *cautions_for(worst_hay(), D(70), "round", tuple(CONDITIONS)),
        *hot_hay(D(80)),
        *nitrate({"CP": D(30)}),
    )
    assert {one.topic for one in found} == {"nitrate", "mould", "hot hay", "soil", "moisture", "heat damage"}
    for one in found:
        assert "Caution only" in one.words and one.source
        assert "veterinarian" in one.words or "fire service guidance" in one.words


def test_ordinary_hay_has_no_cautions() -> None:
    values = {"CP": D(10), "ADICP": D("0.6"), "ash": D(8), "NO3": D(800)}
    assert cautions_for(values, D(88), "round", ("dry",), forage_class="cool grass") == ()
    assert cautions_for({}, None, "round", ()) == ()


@given(st.decimals("0", "80000", places=1), st.decimals("0", "80000", places=1))
def test_more_nitrate_never_earns_a_milder_caution(one: D, other: D) -> None:
    order = [
        None,
        "nitrate-pregnant",
        "nitrate-half",
        "nitrate-third",
        "nitrate-quarter",
        "nitrate-do-not-feed",
    ]
    grave = [
        order.index(found[0].code if (found := nitrate({"NO3": amount})) else None)
        for amount in sorted((one, other))
    ]
    assert grave[0] <= grave[1]
