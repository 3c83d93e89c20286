"""The desk: what a bag looked like, its seal, and the first weighings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.findings import HOLD, worst
from tracker.domain.intake import (
    CONDITIONS,
    DIFFERENCES,
    BatchTare,
    Receipt,
    Weighing,
    batch_tare,
    judge_receipt,
    net,
    net_of,
    tare_findings,
    transposed,
    weighing_findings,
)
from tracker.domain.practice import Practice
from tracker.errors import Refused

PLAIN = Receipt(
    conditions=("dry",),
    seal_state="intact",
    seal_expected="S-004417",
    seal_read="S-004417",
    packages_expected=1,
    packages_found=1,
    age_days=2,
)


def codes(**changes: Any) -> list[str]:
    return [finding.code for finding in judge_receipt(replace(PLAIN, **changes))]


def refusal(act: Callable[[], object]) -> str:
    with pytest.raises(Refused) as caught:
        act()
    assert caught.value.remedy and caught.value.field
    return caught.value.code


def test_a_bag_as_it_was_sent_calls_for_no_remark() -> None:
    assert judge_receipt(PLAIN) == ()
    assert judge_receipt(Receipt(("dry",))) == ()


@pytest.mark.parametrize("condition", sorted(CONDITIONS))
def test_a_condition_holds_the_sample_if_it_is_a_difference(condition: str) -> None:
    held = worst(judge_receipt(replace(PLAIN, conditions=(condition,)))) == HOLD
    assert held == (condition in {"wet", "torn", "leaking", "mould", "hot", "label damaged"} | OURS)
    assert held == (condition in DIFFERENCES)


OURS = {"foreign matter", "not cored"}


def test_a_damp_bag_is_remarked_on_and_goes_on() -> None:
    assert codes(conditions=("damp",)) == ["bag-damp"]
    assert worst(judge_receipt(replace(PLAIN, conditions=("damp",)))) == "caution"


def test_a_bag_nobody_looked_at_is_remarked_on() -> None:
    assert codes(conditions=()) == ["condition-not-noted"]


def test_conditions_that_are_unknown_or_contradict_are_refused() -> None:
    assert refusal(lambda: codes(conditions=("soggy",))) == "unknown-condition"
    assert refusal(lambda: codes(conditions=("dry", "wet"))) == "condition-contradicts"


def test_transposed_digits_of_a_seal_are_named() -> None:
    # S-004417 sealed, S-004471 read: FDA ORA Laboratory Manual III, section 2, asks for the seal to be compared.
    (finding,) = judge_receipt(replace(PLAIN, seal_read="S-004471"))
    assert (finding.code, finding.level) == ("seal-number-differs", "hold")
    assert "1 and 7 have changed places" in finding.words
    assert "S-004471" in finding.words and "S-004417" in finding.words


def test_another_seal_is_not_called_a_transposition() -> None:
    (finding,) = judge_receipt(replace(PLAIN, seal_state="number differs", seal_read="S-009999"))
    assert finding.level == "hold"
    assert "places" not in finding.words


@given(st.text("0123456789", min_size=2, max_size=8), st.data())
def test_any_two_unlike_characters_that_swap_are_found(seal: str, data: st.DataObject) -> None:
    i, j = sorted(data.draw(st.lists(st.integers(0, len(seal) - 1), min_size=2, max_size=2, unique=True)))
    read = list(seal)
    read[i], read[j] = read[j], read[i]
    assert transposed(seal, "".join(read)) == ((seal[i], seal[j]) if seal[i] != seal[j] else None)


def test_a_seal_of_another_length_is_no_transposition() -> None:
    assert transposed("4417", "44171") is None
    assert transposed("4417", "4418") is None


def test_spaces_and_small_letters_do_not_make_another_seal() -> None:
    assert codes(seal_read=" s-004417 ") == []


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"seal_state": "broken"}, ["seal-broken"]),
        ({"seal_state": "broken", "seal_read": "S-004471"}, ["seal-broken", "seal-number-differs"]),
        ({"seal_state": "missing", "seal_read": None}, ["seal-missing"]),
        ({"seal_state": "none", "seal_read": None}, ["seal-missing"]),
        ({"seal_state": "number differs", "seal_read": None}, ["seal-number-differs"]),
        ({"seal_expected": None}, ["seal-not-recorded"]),
    ],
)
def test_a_seal_that_is_not_as_it_was_sealed_holds_the_sample(
    changes: dict[str, Any], expected: list[str]
) -> None:
    found = judge_receipt(replace(PLAIN, **changes))
    assert [finding.code for finding in found] == expected
    assert {finding.level for finding in found} == {"hold"}


def test_a_whole_seal_whose_number_nobody_read_is_a_caution() -> None:
    assert codes(seal_read=None) == ["seal-not-read"]
    assert worst(judge_receipt(replace(PLAIN, seal_read=None))) == "caution"


def test_words_about_a_seal_that_contradict_its_number_are_refused() -> None:
    assert refusal(lambda: codes(seal_state="number differs")) == "seal-contradicts"
    assert refusal(lambda: codes(seal_state="missing")) == "seal-contradicts"
    assert refusal(lambda: codes(seal_state="loose")) == "unknown-seal-state"


@pytest.mark.parametrize(
    ("celsius", "words"),
    [
        ("48.8", None),
        ("48.9", "daily"),  # Cornell: above 120 F, 48.9 C, check daily
        ("49", "daily"),
        ("65", "twice a day"),  # Cornell: from 140 F twice a day
        ("66", "every 2 hours"),  # Cornell: from 150 F every 2 hours, the strictest of five sources
        ("71", "fire service comes before"),  # Penn State and Cornell: 160 F
        ("79", "call the fire service"),  # Mississippi State: 175 F
    ],
)
def test_hot_hay_brings_the_strictest_published_advice(celsius: str, words: str | None) -> None:
    found = judge_receipt(replace(PLAIN, temperature_c=D(celsius)))
    assert [finding.code for finding in found] == ([] if words is None else ["hot-hay"])
    if words:
        assert words in found[0].words and f"{celsius} C" in found[0].words


def test_a_temperature_no_hay_can_have_is_refused() -> None:
    assert refusal(lambda: codes(temperature_c=D(1200))) == "not-a-temperature"


def test_a_count_that_differs_and_a_discrepancy_in_words_hold_the_sample() -> None:
    found = judge_receipt(replace(PLAIN, packages_expected=10, packages_found=9, discrepancy=" No card. "))
    assert [(finding.code, finding.level) for finding in found] == [
        ("packages-differ", "hold"),
        ("discrepancy", "hold"),
    ]
    assert found[0].words == "10 packages were sent and 9 were found."
    assert found[1].words == "No card."


def test_a_sample_older_than_the_programme_allows_is_remarked_on() -> None:
    assert codes(age_days=7) == []
    assert codes(age_days=8) == ["sample-old"]


# --- weighing


def test_hay_alone_is_the_gross_reading_less_the_tare_with_its_digits() -> None:
    assert str(net(D("250.0"), D("50.0"))) == "200.0"


def test_a_sack_with_hay_that_is_no_heavier_than_the_sack_is_refused() -> None:
    assert refusal(lambda: net(D("50.0"), D("50.0"))) == "gross-not-above-tare"
    assert refusal(lambda: weighing_findings(fresh("20.0"), tare=tare())) == "gross-not-above-tare"


def test_a_reading_zeroed_on_the_sack_is_hay_and_never_loses_the_sack_twice() -> None:
    zeroed = Weighing("fresh", D("200.0"), zeroed=True)
    assert net_of(zeroed, None) == net_of(zeroed, tare()) == D("200.0")


def test_sack_and_hay_without_a_tare_give_no_hay() -> None:
    assert refusal(lambda: net_of(fresh("250.0"), None)) == "tare-missing"


def test_a_weighing_of_unknown_kind_is_refused() -> None:
    assert refusal(lambda: Weighing("moist", D("1.0"))) == "unknown-weighing"


def fresh(grams: str) -> Weighing:
    return Weighing("fresh", D(grams))


def tare() -> Weighing:
    return Weighing("tare", D("50.0"))


def flags(weighing: Weighing, **more: Any) -> list[str]:
    return [finding.code for finding in weighing_findings(weighing, **more)]


def test_a_reading_equal_to_the_last_digit_asks_whether_the_pan_changed() -> None:
    previous = [fresh("261.4"), fresh("250.0")]
    assert flags(fresh("250.0"), previous=previous, tare=tare()) == ["same-as-before"]
    assert flags(fresh("250.1"), previous=previous, tare=tare()) == []
    assert flags(fresh("261.4"), previous=previous, tare=tare()) == []


def test_equal_value_with_other_digits_or_of_another_kind_is_not_the_same_reading() -> None:
    assert flags(fresh("250.0"), previous=[fresh("250.00")], tare=tare()) == []
    assert flags(fresh("250.0"), previous=[Weighing("dry", D("250.0"))], tare=tare()) == []


def test_an_empty_sack_holds_the_sample() -> None:
    found = weighing_findings(Weighing("dry", D("54.9")), tare=tare())
    assert [(finding.code, finding.level) for finding in found] == [("hardly-any-hay", "hold")]
    assert flags(Weighing("dry", D("55.0")), tare=tare()) == []


@pytest.mark.parametrize(
    ("grams", "expected"),
    [
        ("149.9", ["composite-short"]),  # Shewmaker (Idaho): 150 to 200 g
        ("150.0", []),
        ("450.0", []),  # LSU AgCenter: about 1 lb is good
        ("450.1", ["composite-large"]),
    ],
)
def test_a_short_or_an_awkward_composite_is_remarked_on(grams: str, expected: list[str]) -> None:
    assert flags(Weighing("composite", D(grams))) == expected
    assert flags(Weighing("fresh", D(grams), zeroed=True)) == expected


def test_a_composite_far_from_the_plan_is_remarked_on() -> None:
    # Default 40 % (our choice): 242 g planned (20 cores, 5/8 inch), so under 145.2 or over 338.8 is far.
    assert flags(Weighing("composite", D("338.8")), planned=D(242)) == []
    assert flags(Weighing("composite", D("338.9")), planned=D(242)) == ["composite-far"]
    assert flags(Weighing("composite", D("145.0")), planned=D(242)) == ["composite-short", "composite-far"]
    narrow = Practice({"composite_far": D(10)})
    assert flags(Weighing("composite", D("270.0")), planned=D(242), practice=narrow) == ["composite-far"]


def test_a_fresh_weight_without_its_tare_yet_is_not_judged_as_hay() -> None:
    assert flags(fresh("60.0")) == []


def test_a_balance_that_counts_in_halves_says_so() -> None:
    assert fresh("250.0").resolution == D("0.1")
    assert Weighing("fresh", D("250.5"), step=D("0.5")).resolution == D("0.5")


def test_a_batch_tare_is_the_mean_and_the_sample_sd() -> None:
    # Mean 25, squares 1+1+0+0+4+4+0+0+1+1 = 12 in tenths: SD = sqrt(0.12/9) = 0.11547 g, worked by hand.
    sacks = [
        D(text) for text in ["25.1", "24.9", "25.0", "25.0", "25.2", "24.8", "25.0", "25.0", "25.1", "24.9"]
    ]
    batch = batch_tare(sacks)
    assert (batch.mean, batch.n, batch.resolution) == (D(25), 10, D("0.1"))
    assert round(batch.sd, 5) == D("0.11547")
    assert tare_findings(batch) == ()


def test_a_batch_tare_is_as_coarse_as_its_coarsest_reading() -> None:
    assert batch_tare([D("25"), *[D("25.0")] * 9]).resolution == 1


def test_a_batch_tare_of_too_few_sacks_is_refused() -> None:
    assert refusal(lambda: batch_tare([D("25.0")] * 9)) == "too-few-tares"
    assert refusal(lambda: batch_tare([D("25.0")], Practice({"tares_least": D(0)}))) == "too-few-tares"


def test_sacks_that_differ_too_much_are_weighed_one_by_one() -> None:
    at_limit, above = (BatchTare(D(25), D(sd), 10, D("0.1")) for sd in ("0.5", "0.51"))
    assert tare_findings(at_limit) == ()
    assert [finding.code for finding in tare_findings(above)] == ["tares-spread"]
