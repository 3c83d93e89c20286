"""What a plan was asked for and rests on, there and back, and what differs from it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from decimal import Decimal

from tests.domain.feeding_makers import FEEDS, HAY_A
from tracker.domain.herd import Group
from tracker.domain.practice import COMMON, Practice
from tracker.domain.season import Stack
from tracker.domain.season_kept import Change, Question, changed_inputs, changed_outcome, rests_on

STACK = Stack(3, "Hill, cutting 1", HAY_A, 40, Decimal("1000"), "barn", date(2026, 7, 1))
COWS = Group("spring cows", "cow", 20, Decimal("1250"), date(2027, 3, 1))


def inputs(
    stack: Stack = STACK, group: Group = COWS, practice: Practice = COMMON, program: str = "1"
) -> dict:  # type: ignore[type-arg]
    return json.loads(json.dumps(rests_on([stack], [group], FEEDS, practice, program)))  # type: ignore[no-any-return]


def test_a_question_comes_back_as_it_was_asked() -> None:
    asked = Question(date(2026, 11, 1), 3, {12: Decimal("95.50"), 2: Decimal(80)}, Decimal("10"), True)
    assert Question.from_data(json.loads(json.dumps(asked.as_data()))) == asked
    plain = Question(date(2026, 11, 1), 6)
    assert Question.from_data(plain.as_data()) == plain


def test_what_is_the_same_has_not_changed() -> None:
    assert changed_inputs(inputs(), inputs()) == ()


def test_every_value_that_differs_is_named_with_whose_it_is() -> None:
    bales = replace(STACK, bales=35, hay=replace(HAY_A, cp=Decimal("9.9")))
    head = replace(COWS, head=22)
    waste = Practice({"feeding_waste": Decimal(20)})
    assert set(changed_inputs(inputs(), inputs(bales, head, waste, "2"))) == {
        Change("lot 3, bales", "40", "35"),
        Change("lot 3, cp", str(HAY_A.cp), "9.9"),
        Change("group spring cows, head", "20", "22"),
        Change("rule feeding_waste", "15", "20"),
        Change("program version", "1", "2"),
    }


def test_what_came_or_went_is_said_once() -> None:
    other = replace(STACK, lot=4)
    assert changed_inputs(inputs(), inputs(other)) == (
        Change("lot 3", "in the plan", ""),
        Change("lot 4", "", "in the plan"),
    )


def test_the_outcome_is_compared_by_money_tons_and_who_eats_what() -> None:
    fed = {"group": "cows", "month": "Nov 2026", "lot": 3, "share": "1.000"}
    before = {"supplement_cost": "10.00", "hay_cost": "0.00", "short_tons": "0.00", "fed": [fed]}
    half = {**fed, "share": "0.500"}
    now = {**before, "supplement_cost": "12.00", "fed": [half, {**half, "lot": 4}]}
    assert changed_outcome(before, before) == ()
    assert changed_outcome(before, now) == (
        Change("supplement, $", "10.00", "12.00"),
        Change(
            "cows, Nov 2026",
            "lot 3, 1.000 of the month",
            "lot 3, 0.500 of the month; lot 4, 0.500 of the month",
        ),
    )
