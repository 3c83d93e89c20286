"""Animals from what a person types, and a group of them through the year."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.animals import BULL, COW, HEIFER, KINDS, STAGES, animals_at, checked
from tracker.domain.herd import Group, animals_on, checked_group
from tracker.domain.needs import need_of, needed_density
from tracker.errors import Refused

VALID = {
    "kind": "cow",
    "weight_lb": "1250",
    "head": "30",
    "days_since_calving": "60",
    "peak_milk_lb": "20",
    "calf_lb": "85",
    "condition": "5",
    "effective_f": "20",
    "coat": "dry winter",
}


def test_a_group_is_said_in_words() -> None:
    found = checked(**VALID)
    assert found.words == "1,250-lb cows, 60 days after calving, milking"
    assert (
        checked(kind="cow", weight_lb="1250", days_to_calving="30").words
        == "1,250-lb cows, 30 days before calving"
    )
    assert checked(kind="Bulls", weight_lb="1900").words == "1,900-lb bulls, at maintenance"


@pytest.mark.parametrize(
    ("field", "text", "code"),
    [
        ("kind", "goat", "unknown-kind"),
        ("weight_lb", "567", "implausible-weight"),
        ("weight_lb", "", "not-a-number"),
        ("weight_lb", "1,250", "not-a-number"),
        ("head", "0", "not-a-count"),
        ("days_since_calving", "366", "implausible-stage"),
        ("days_since_calving", "-3", "not-a-count"),
        ("days_since_calving", "", "stage-missing"),
        ("peak_milk_lb", "60", "implausible-milk"),
        ("calf_lb", "8", "implausible-calf"),
        ("condition", "12", "not-a-condition"),
        ("effective_f", "-80", "implausible-temperature"),
        ("coat", "shaggy", "unknown-coat"),
    ],
)
def test_one_value_spoiled_is_refused_by_its_name(field: str, text: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        checked(**{**VALID, field: text})  # type: ignore[arg-type]
    assert (caught.value.code, caught.value.field) == (code, field) and caught.value.remedy


def test_a_bull_has_no_stage_and_no_milk() -> None:
    bull = checked(kind="bull", weight_lb="1900", days_since_calving="60", days_to_calving="10")
    assert not bull.milking and not bull.pregnant and need_of(bull).milk_lb == 0


@pytest.mark.parametrize("stage", [one.key for one in STAGES])
def test_every_stage_that_can_be_pointed_at_has_a_need(stage: str) -> None:
    for kind, weight in ((COW, "1200"), (HEIFER, "1000")):
        animals = animals_at(kind, stage, D(weight), 12)
        diet = needed_density(need_of(animals), animals)
        assert animals.head == 12 and diet and 40 < diet.tdn < 70
    assert animals_at(BULL, stage, D(1800)) == checked(kind=BULL, weight_lb="1800")


def test_a_stage_nobody_knows_is_refused() -> None:
    with pytest.raises(Refused) as caught:
        animals_at(COW, "teenage", D(1200))
    assert caught.value.code == "unknown-stage"


COWS = Group("spring cows", COW, 30, D(1275), date(2027, 3, 1), D(20), D(5))


# By hand, from the year that docs/feeding.md gives: 205 days of milk, bred from day 82 on, 365 days to the next calf.
@pytest.mark.parametrize(
    ("on", "since", "to"),
    [
        ("2027-03-01", 0, None),
        ("2027-05-21", 81, None),
        ("2027-05-22", 82, 283),
        ("2027-09-22", 205, 160),
        ("2027-09-23", None, 159),
        ("2028-02-28", None, 1),
        ("2028-02-29", 0, None),
        ("2026-12-15", None, 76),
        ("2026-07-01", 122, 243),
    ],
)
def test_the_stage_follows_from_the_day_of_calving(on: str, since: int | None, to: int | None) -> None:
    found = animals_on(COWS, date.fromisoformat(on))
    assert (found.days_since_calving, found.days_to_calving) == (since, to)


def test_a_heifer_milks_only_after_her_first_calf() -> None:
    heifers = Group("heifers", HEIFER, 8, D(1000), date(2027, 2, 10))
    before = animals_on(heifers, date(2026, 7, 1))
    assert not before.milking and before.days_to_calving == 224
    assert animals_on(heifers, date(2027, 3, 10)).milking


def test_bulls_are_the_same_all_year() -> None:
    bulls = checked_group(name="bulls", kind="bull", head="2", weight_lb="1900", calving="2027-01-01")
    assert bulls.year_round and bulls.calving is None
    assert animals_on(bulls, date(2026, 1, 1)) == animals_on(bulls, date(2026, 7, 1))


@given(st.integers(0, 800))
def test_a_cow_always_stands_somewhere_in_her_year(days: int) -> None:
    found = animals_on(COWS, COWS.calving + timedelta(days=days - 400))  # type: ignore[operator]
    assert found.days_since_calving is not None or found.days_to_calving is not None
    assert need_of(found).nem_mcal > 8


@pytest.mark.parametrize(
    ("field", "text", "code"),
    [
        ("name", "  ", "group-name-missing"),
        ("calving", "", "calving-missing"),
        ("calving", "March", "not-a-date"),
        ("kind", "steer", "unknown-kind"),
        ("head", "some", "not-a-count"),
        ("weight_lb", "57", "implausible-weight"),
        ("peak_milk_lb", "1", "implausible-milk"),
        ("condition", "0", "not-a-condition"),
    ],
)
def test_a_group_with_one_value_spoiled_is_refused(field: str, text: str, code: str) -> None:
    valid = {"name": "spring cows", "kind": "cow", "head": "30", "weight_lb": "1275", "calving": "2027-03-01"}
    assert checked_group(**valid).calving == date(2027, 3, 1)
    with pytest.raises(Refused) as caught:
        checked_group(**{**valid, field: text})
    assert caught.value.code == code and set(KINDS) == {COW, HEIFER, BULL}
