"""Every number that is a choice has a unit and a source, and a programme may set its own."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from tracker.domain.practice import COMMON, RULES, Practice, checked_value
from tracker.errors import NotFound, Refused


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_every_rule_says_what_it_decides_in_which_unit_and_on_whose_word(rule: object) -> None:
    for part in ("decides", "unit", "source"):
        assert getattr(rule, part).strip()


@pytest.mark.parametrize("name", [name for name in RULES if name.endswith("_least")])
def test_a_lower_limit_stays_under_its_upper_one(name: str) -> None:
    upper = RULES.get(name.removesuffix("_least") + "_most")
    if upper is not None:
        assert COMMON.number(name) < COMMON.number(upper.name)


@pytest.mark.parametrize(
    "rule", [rule for rule in RULES.values() if rule.choices], ids=lambda rule: rule.name
)
def test_a_choice_of_words_has_its_default_among_the_choices(rule: object) -> None:
    assert rule.default in rule.choices and rule.unit == "choice"  # type: ignore[attr-defined]


def test_the_defaults_are_the_published_ones() -> None:
    # NFTA sampling principles: 20 cores, 200 tons. UC Davis 507: 60 C, 12 h. NFTA method 2.2: 3 to 15 % water
    # left, first oven under 85 %. NFTA sample preparation: 1 mm at 90 % DM.
    published = {
        "cores": 20,
        "lot_limit": 200,
        "oven_celsius_most": 60,
        "oven_hours_least": 12,
        "lab_dm_least": 85,
        "lab_dm_most": 97,
        "one_step_dm": 85,
        "fine_screen": 1,
        "fine_dm_least": 90,
    }
    assert {name: COMMON.number(name) for name in published} == published


def test_a_programme_sets_its_own_value_with_its_own_source() -> None:
    own = Practice({"cores": D(25)}, {"cores": "our handbook, page 4"})
    assert (own.number("cores"), own.source("cores"), own.is_own("cores")) == (
        25,
        "our handbook, page 4",
        True,
    )
    assert own.number("lot_limit") == COMMON.number("lot_limit") and not own.is_own("lot_limit")
    assert COMMON.number("cores") == 20


def test_what_was_handed_in_later_does_not_change_the_practice_in_force() -> None:
    values = {"cores": D(25)}
    own = Practice(values)
    values["cores"] = D(3)
    assert own.number("cores") == 25


def test_a_choice_of_words_is_no_number() -> None:
    assert COMMON.word("lot_limit_basis") == "as received"
    with pytest.raises(TypeError):
        COMMON.number("lot_limit_basis")


def test_a_value_for_a_rule_is_checked() -> None:
    assert checked_value("cores", "25") == D(25)
    assert checked_value("balance_repeatability", "0") == 0
    assert checked_value("lot_limit_basis", "dry matter") == "dry matter"


@pytest.mark.parametrize(
    ("name", "text", "code"),
    [
        ("cores", "many", "not-a-number"),
        ("cores", "-1", "not-positive"),
        ("lot_limit_basis", "wet", "not-a-choice"),
    ],
)
def test_a_value_that_cannot_be_is_refused_by_the_name_of_its_rule(name: str, text: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        checked_value(name, text)
    assert (caught.value.code, caught.value.field) == (code, name)


def test_a_rule_nobody_knows_is_not_found() -> None:
    with pytest.raises(NotFound) as caught:
        checked_value("coers", "20")
    assert caught.value.code == "unknown-rule" and "coers" in caught.value.message
