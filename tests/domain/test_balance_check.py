"""The daily check of a balance."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.balance_check import (
    affected,
    error_limit,
    in_date,
    judge_check,
    least_load,
    near_the_load,
    suitability,
    weight_limit,
)
from tracker.errors import Refused

TENTH, HUNDREDTH = D("0.1"), D("0.01")


@pytest.mark.parametrize(
    ("accuracy_class", "load_in_e", "limit_in_e"),
    # OIML R 76-1:2006, table 6, maximum permissible errors on verification; the bounds belong to the smaller error.
    [
        ("II", 0, "0.5"),
        ("II", 5_000, "0.5"),
        ("II", 5_001, "1"),
        ("II", 20_000, "1"),
        ("II", 20_001, "1.5"),
        ("II", 100_000, "1.5"),
        ("III", 500, "0.5"),
        ("III", 501, "1"),
        ("III", 2_000, "1"),
        ("III", 2_001, "1.5"),
        ("III", 10_000, "1.5"),
    ],
)
@pytest.mark.parametrize("e", [TENTH, D("0.5"), D(1)])
def test_limits_are_those_of_r_76(accuracy_class: str, load_in_e: int, limit_in_e: str, e: D) -> None:
    assert error_limit(load_in_e * e, e, accuracy_class) == D(limit_in_e) * e


@pytest.mark.parametrize(
    ("load", "e", "accuracy_class", "limit"),
    # Derived by hand from the table: 200 g is 2,000 e at 0.1 g and 20,000 e at 0.01 g.
    [("200", "0.1", "II", "0.05"), ("200", "0.1", "III", "0.1"), ("200", "0.01", "II", "0.010")],
)
def test_a_200_g_weight_is_judged_by_these_limits(load: str, e: str, accuracy_class: str, limit: str) -> None:
    assert error_limit(D(load), D(e), accuracy_class) == D(limit)


@pytest.mark.parametrize(
    ("e", "accuracy_class", "least"),
    # OIML R 76-1:2006, table 3.
    [
        ("0.01", "II", "0.2"),
        ("0.05", "II", "1"),
        ("0.1", "II", "5"),
        ("0.1", "III", "2"),
        ("5", "III", "100"),
    ],
)
def test_the_least_load_is_that_of_r_76(e: str, accuracy_class: str, least: str) -> None:
    assert least_load(D(e), accuracy_class) == D(least)


@pytest.mark.parametrize(
    ("nominal", "weight_class", "milligrams"),
    # OIML R 111-1:2004, table 1, as a weight maker gives it; M1 at 200 g from memory.
    [
        *((20, name, mg) for name, mg in {"F1": "0.25", "F2": "0.8", "M1": "2.5"}.items()),
        *((50, name, mg) for name, mg in {"E2": "0.10", "F1": "0.3", "F2": "1.0", "M1": "3.0"}.items()),
        *(
            (100, name, mg)
            for name, mg in {"E2": "0.16", "F1": "0.5", "F2": "1.6", "M1": "5.0", "M2": "16"}.items()
        ),
        *((200, name, mg) for name, mg in {"E2": "0.3", "F1": "1.0", "F2": "3.0", "M1": "10"}.items()),
    ],
)
def test_weights_have_the_limits_of_r_111(nominal: int, weight_class: str, milligrams: str) -> None:
    assert 1000 * weight_limit(D(nominal), weight_class) == D(milligrams)


@pytest.mark.parametrize(
    ("weight_class", "e", "suitable"),
    # A third of 0.05 g is 0.0167 g, of 0.010 g 0.0033 g (a third: from memory of R 76 and R 111 practice).
    [("M1", TENTH, True), ("M1", HUNDREDTH, False), ("F2", HUNDREDTH, True)],
)
def test_a_weight_may_be_off_by_a_third_of_what_it_checks(weight_class: str, e: D, suitable: bool) -> None:
    judged = suitability(D(200), weight_class, e, "II")
    assert judged.suitable is suitable
    assert ("is good enough" in judged.words) is suitable


def test_exactly_a_third_is_good_enough() -> None:
    assert suitability(D(200), "M1", TENTH, "II", own_limit=D("0.030")).suitable
    assert not suitability(D(200), "M1", TENTH, "II", own_limit=D("0.029")).suitable


def test_a_check_within_both_limits_passes_and_says_so() -> None:
    check = judge_check(D("200"), D("200.0"), D("0.0"), TENTH, "II")
    assert check.passed and check.limit == D("0.05") and check.difference == 0
    assert check.words == "Passed: 200 g showed 200.0 g and the empty pan 0.0 g, within 0.05 g."


def test_a_difference_of_exactly_the_limit_passes() -> None:
    assert judge_check(D("200"), D("200.01"), D("0.00"), HUNDREDTH, "II").passed
    assert judge_check(D("200"), D("199.99"), D("0.00"), HUNDREDTH, "II").passed
    failed = judge_check(D("200"), D("199.98"), D("0.00"), HUNDREDTH, "II")
    assert not failed.passed
    assert failed.words == "Failed: 200 g showed 199.98 g: -0.02 g, and 0.01 g is allowed."


def test_an_empty_pan_that_does_not_show_zero_fails_whatever_the_weight_shows() -> None:
    check = judge_check(D("200"), D("200.0"), D("-0.1"), TENTH, "II")
    assert not check.passed and check.difference == 0
    assert "empty pan showed -0.1 g" in check.words


def test_the_limit_stored_for_a_balance_stands_in_place_of_the_class() -> None:
    assert not judge_check(D("200"), D("200.1"), D("0.0"), TENTH, "II").passed
    assert judge_check(D("200"), D("200.1"), D("0.1"), TENTH, "II", own_limit=TENTH).passed


@pytest.mark.parametrize(
    ("nominal", "e", "accuracy_class", "own", "code"),
    [
        ("200", "0.1", "I", None, "unknown-balance-class"),
        ("200", "0.0001", "II", None, "not-an-interval"),
        ("200", "0.01", "III", None, "not-an-interval"),
        ("2000", "0.01", "II", None, "load-beyond-class"),
        ("0", "0.1", "II", None, "not-positive"),
        ("200", "0.1", "II", "0", "not-positive"),
    ],
)
def test_what_is_no_check_is_refused(
    nominal: str, e: str, accuracy_class: str, own: str | None, code: str
) -> None:
    with pytest.raises(Refused) as caught:
        judge_check(D(nominal), D(nominal), D(0), D(e), accuracy_class, own and D(own))  # type: ignore[arg-type]
    assert caught.value.code == code and caught.value.remedy


def test_a_weight_without_a_known_limit_is_refused() -> None:
    with pytest.raises(Refused) as caught:
        weight_limit(D(150), "M1")
    assert caught.value.code == "unknown-check-weight"


@given(st.integers(1, 40_000), st.integers(-50, 50), st.sampled_from(["II", "III"]))
def test_a_check_passes_by_the_size_of_the_difference_alone(
    load: int, steps: int, accuracy_class: str
) -> None:
    nominal = D(load) / 40
    over = judge_check(nominal, nominal + steps * HUNDREDTH, D(0), TENTH, accuracy_class)
    under = judge_check(nominal, nominal - steps * HUNDREDTH, D(0), TENTH, accuracy_class)
    assert over.passed == under.passed == (abs(steps) * HUNDREDTH <= over.limit)


@pytest.mark.parametrize(("load", "near"), [("100", True), ("99", False), ("400", True), ("401", False)])
def test_near_the_load_is_from_half_to_twice_of_it(load: str, near: bool) -> None:
    # Our choice.
    assert near_the_load(D(200), D(load)) is near


HERE = timezone(timedelta(hours=-5))
SEVEN = datetime(2026, 6, 15, 7, 0, tzinfo=HERE)


def test_a_check_counts_for_the_day_it_was_made_on_where_the_balance_stands() -> None:
    assert not in_date(None, SEVEN)
    assert in_date(SEVEN, SEVEN)
    # 23:30 here is the next day in UTC, and still today here.
    assert in_date(SEVEN.astimezone(UTC), SEVEN.replace(hour=23, minute=30))
    assert not in_date(SEVEN.replace(hour=23), SEVEN + timedelta(days=1))


def test_a_later_failure_or_a_clock_that_runs_ahead_ends_the_check() -> None:
    noon = SEVEN.replace(hour=12)
    assert not in_date(SEVEN, noon, last_failed_at=SEVEN + timedelta(hours=1))
    assert not in_date(SEVEN, noon, last_failed_at=SEVEN)
    assert in_date(SEVEN, noon, last_failed_at=SEVEN - timedelta(hours=1))
    assert not in_date(noon, SEVEN)


def at(hour: int) -> datetime:
    return datetime(2026, 6, 15, tzinfo=UTC) + timedelta(hours=hour)


def test_a_failed_check_puts_in_doubt_what_was_weighed_since_the_last_good_one() -> None:
    weighings = [(f"sack {hour}", at(hour)) for hour in (6, 8, 9, 11, 13)]
    # Good at 7, failed at 10, mended and good at 12.
    checks = [(at(12), True), (at(7), True), (at(10), False)]
    assert affected(weighings, checks) == ("sack 8", "sack 9", "sack 11")


def test_without_a_failure_nothing_and_without_a_good_check_everything_is_in_doubt() -> None:
    weighings = [("a", at(1)), ("b", at(3)), ("c", at(5))]
    assert affected(weighings, []) == affected(weighings, [(at(2), True), (at(4), True)]) == ()
    assert affected(weighings, [(at(2), False), (at(4), False)]) == ("a", "b", "c")


def test_of_two_checks_at_one_moment_the_failed_one_counts() -> None:
    for checks in ([(at(2), True), (at(2), False)], [(at(2), False), (at(2), True)]):
        assert affected([("a", at(1)), ("b", at(2)), ("c", at(3))], checks) == ("a", "b", "c")


@given(
    st.lists(st.integers(0, 30), max_size=12),
    st.dictionaries(st.integers(0, 30), st.booleans(), max_size=8),
)
def test_in_doubt_is_exactly_what_no_good_check_parts_from_a_failed_one(
    hours: list[int], made: dict[int, bool]
) -> None:
    weighings = [(place, at(hour)) for place, hour in enumerate(hours)]
    found = affected(weighings, [(at(hour), passed) for hour, passed in made.items()])

    def parted(weighed: int, failed: int) -> bool:
        between = range(failed, weighed + 1) if failed <= weighed else range(weighed + 1, failed)
        return any(made.get(hour) for hour in between)

    failures = [hour for hour, passed in made.items() if not passed]
    assert found == tuple(
        place for place, hour in enumerate(hours) if any(not parted(hour, failed) for failed in failures)
    )
