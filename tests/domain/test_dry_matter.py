"""Dry matter and its uncertainty, against published values, hand-worked values and the uncertainties package."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from decimal import Decimal as D

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from uncertainties import ufloat

from tracker.domain.dry_matter import (
    PartialDM,
    constant_mass,
    dm_findings,
    lab_dm_findings,
    load_findings,
    one_step_findings,
    partial_dm,
    total_dm,
    total_dm_findings,
)
from tracker.domain.intake import BatchTare, Weighing
from tracker.domain.practice import Practice
from tracker.errors import Refused


def refusal(act: Callable[[], object]) -> str:
    with pytest.raises(Refused) as caught:
        act()
    assert caught.value.remedy and caught.value.field
    return caught.value.code


def partial(tare: str | None, fresh: str, dry: str, repeatability: str = "0") -> PartialDM:
    zeroed = tare is None
    return partial_dm(
        None if tare is None else Weighing("tare", D(tare)),
        Weighing("fresh", D(fresh), zeroed),
        Weighing("dry", D(dry), zeroed),
        Practice({"balance_repeatability": D(repeatability)}),
    )


def found(tare: str, fresh: str, dry: str) -> list[tuple[str, str]]:
    findings = dm_findings(Weighing("tare", D(tare)), Weighing("fresh", D(fresh)), Weighing("dry", D(dry)))
    return [(finding.code, finding.level) for finding in findings]


def test_dry_matter_with_a_tare_is_as_published() -> None:
    # MEKARN laboratory manual, Determination of dry matter: 12.88, 15.12, 13.40 g give 23.2 %.
    answer = partial("12.88", "15.12", "13.40")
    assert (answer.fresh_net, answer.dry_net) == (D("2.24"), D("0.52"))
    assert round(answer.value, 1) == D("23.2")


def test_two_ovens_multiply() -> None:
    # The formula of Clemson Agricultural Service Laboratory; the weights are ours: .91 x .935 = 85.085 %.
    first, second = partial("20.00", "220.00", "202.00"), partial("50.00", "60.00", "59.35")
    assert (first.value, second.value) == (D(91), D("93.5"))
    total = total_dm(first, second.value)
    assert total is not None and total.value == D("85.085")


@pytest.mark.parametrize(
    ("fresh", "dry", "tare", "repeatability", "value", "u", "expanded"),
    [
        # Worked from JCGM 100 and confirmed by a Monte Carlo of 400,000 draws, to 0.0002.
        ("250.0", "228.4", "50.0", "0", "89.2", 0.0194, 0.039),
        ("250.0", "228.4", "50.0", "0.1", "89.2", 0.0700, 0.140),
        ("60.0", "54.6", "10.0", "0", "89.2", 0.0776, 0.155),
        ("60.00", "54.60", "10.00", "0", "89.2", 0.0078, 0.016),
        ("250", "228", "50", "0", "89", 0.1939, 0.388),
    ],
)
def test_the_uncertainty_is_that_of_the_law_of_propagation(
    fresh: str, dry: str, tare: str, repeatability: str, value: str, u: float, expanded: float
) -> None:
    answer = partial(tare, fresh, dry, repeatability)
    assert answer.value == D(value)
    assert float(answer.u) == pytest.approx(u, abs=5.1e-5)
    assert float(answer.expanded) == pytest.approx(expanded, abs=5.1e-4)


def test_each_reading_has_its_part_in_the_uncertainty() -> None:
    # Sensitivities -0.4460, 0.5000 and -0.0540 % per gram, and 0.1 / sqrt(12) g in each reading.
    parts = partial("50.0", "250.0", "228.4").components
    step = 0.1 / math.sqrt(12)
    assert float(parts["fresh"]) == pytest.approx(0.4460 * step, rel=1e-9)
    assert float(parts["dry"]) == pytest.approx(0.5000 * step, rel=1e-9)
    assert float(parts["tare"]) == pytest.approx(0.0540 * step, rel=1e-9)


tenths = st.integers(1, 5000).map(lambda tenth: D(tenth) / 10)


@given(tenths, tenths, tenths, st.sampled_from(["0", "0.05", "0.3"]))
def test_the_shared_tare_is_carried_as_the_uncertainties_package_carries_it(
    tare: D, dry_net: D, water: D, repeatability: str
) -> None:
    t, f, q = (f"{grams:.1f}" for grams in (tare, tare + dry_net + water, tare + dry_net))
    answer = partial(t, f, q, repeatability)
    u = math.hypot(0.1 / math.sqrt(12), float(repeatability))
    sack, fresh, dry = (ufloat(float(grams), u) for grams in (t, f, q))
    theirs = 100 * (dry - sack) / (fresh - sack)
    assert float(answer.value) == pytest.approx(theirs.n, rel=1e-9)
    assert float(answer.u) == pytest.approx(theirs.s, rel=1e-6)
    assert float(sum(part**2 for part in answer.components.values())) == pytest.approx(float(answer.u) ** 2)


@given(tenths, tenths)
def test_a_balance_zeroed_on_the_sack_is_read_twice_for_each_weight(dry_net: D, water: D) -> None:
    f, q = f"{dry_net + water:.1f}", f"{dry_net:.1f}"
    step = 0.1 / math.sqrt(12)
    fresh = ufloat(float(f), step) + ufloat(0, step)
    dry = ufloat(float(q), step) + ufloat(0, step)
    answer = partial(None, f, q)
    assert float(answer.u) == pytest.approx((100 * dry / fresh).s, rel=1e-6)
    assert answer.components["tare"] == 0


def test_one_weight_zeroed_and_one_with_its_sack_leaves_the_tare_in_one_net_only() -> None:
    step = 0.1 / math.sqrt(12)
    tare = Weighing("tare", D("50.0"))
    sack, zero = ufloat(50, step), ufloat(0, step)
    theirs = 100 * (ufloat(228.4, step) - sack) / (ufloat(200, step) + zero)
    answer = partial_dm(tare, Weighing("fresh", D("200.0"), True), Weighing("dry", D("228.4")))
    assert answer.value == D("89.2")
    assert float(answer.u) == pytest.approx(theirs.s, rel=1e-9)
    theirs = 100 * (ufloat(178.4, step) + zero) / (ufloat(250, step) - sack)
    answer = partial_dm(tare, Weighing("fresh", D("250.0")), Weighing("dry", D("178.4"), True))
    assert answer.value == D("89.2")
    assert float(answer.u) == pytest.approx(theirs.s, rel=1e-9)


def test_a_batch_tare_brings_the_spread_of_the_sacks() -> None:
    # Any sack of the batch may be this one: SD x sqrt(1 + 1/n), beside the resolution.
    batch = BatchTare(D("50.0"), D("0.8"), 10, D("0.1"))
    answer = partial_dm(batch, Weighing("fresh", D("250.0")), Weighing("dry", D("228.4")))
    step = 0.1 / math.sqrt(12)
    sack = ufloat(50, math.hypot(step, 0.8 * math.sqrt(1.1)))
    theirs = 100 * (ufloat(228.4, step) - sack) / (ufloat(250, step) - sack)
    assert float(answer.u) == pytest.approx(theirs.s, rel=1e-9)
    assert answer.u > partial("50.0", "250.0", "228.4").u


@given(tenths, tenths, tenths, tenths)
def test_more_dry_hay_from_the_same_sack_is_more_dry_matter(tare: D, low: D, more: D, water: D) -> None:
    fresh = f"{tare + low + more + water:.1f}"
    less_dry, more_dry = (partial(f"{tare:.1f}", fresh, f"{tare + dry:.1f}") for dry in (low, low + more))
    assert 0 < less_dry.value < more_dry.value < 100


@given(st.permutations(["0.0", "0.05", "0.2", "1"]))
def test_a_shakier_balance_is_never_surer(order: list[str]) -> None:
    by_balance = {text: partial("50.0", "250.0", "228.4", text).u for text in order}
    ranked = [by_balance[text] for text in sorted(order, key=D)]
    assert all(a < b for a, b in itertools.pairwise(ranked))


def test_the_tare_all_but_cancels_in_dry_hay() -> None:
    # 25 g sack, 150 g at 88 %: with the sack left in both weights 88.9 is read for 88.0 (worked by hand).
    assert partial("25.0", "175.0", "157.0").value == D(88)
    assert (
        partial("25.0", "175.0", "157.0").components["tare"]
        < partial("25.0", "175.0", "92.5").components["tare"]
    )


@pytest.mark.parametrize(
    ("weights", "shown"),
    [
        (("50.0", "250.0", "228.4"), "89.20"),  # U 0.039
        (("10.0", "60.0", "54.6"), "89.2"),  # U 0.155
        (("50", "250", "228"), "89.0"),  # U 0.388
        (("5", "25", "23"), "90"),  # U 3.9
        (("50.000", "250.000", "228.400"), "89.20"),  # two decimals at most
    ],
)
def test_only_the_decimals_that_the_balance_justifies_are_shown(
    weights: tuple[str, str, str], shown: str
) -> None:
    assert str(partial(*weights).shown) == shown


def test_the_value_itself_is_never_rounded() -> None:
    assert partial("50.0", "250.0", "228.3").value == D("89.15")
    third = partial("10.0", "40.0", "30.0").value
    assert abs(third * 3 - 200) < D("1e-20")


def test_a_dry_matter_without_a_tare_or_with_two_is_impossible() -> None:
    fresh, dry = Weighing("fresh", D("250.0")), Weighing("dry", D("228.4"))
    net_fresh, net_dry = Weighing("fresh", D("200.0"), True), Weighing("dry", D("178.4"), True)
    assert refusal(lambda: partial_dm(None, fresh, dry)) == "tare-missing"
    assert refusal(lambda: partial_dm(None, net_fresh, dry)) == "tare-missing"
    assert refusal(lambda: partial_dm(Weighing("tare", D("50.0")), net_fresh, net_dry)) == "double-tare"
    assert partial_dm(None, net_fresh, net_dry).value == D("89.2")


def test_hay_that_grew_heavier_in_the_oven_is_held_and_gives_no_figure() -> None:
    # 201.0 g dry from 200.0 g fresh.
    assert found("50.0", "250.0", "251.0") == [("dry-above-fresh", "hold")]
    assert refusal(lambda: partial("50.0", "250.0", "251.0")) == "dry-above-fresh"


def test_hay_that_lost_nothing_is_all_dry_matter_and_implausible() -> None:
    assert partial("50.0", "250.0", "250.0").value == 100
    assert found("50.0", "250.0", "250.0") == [("dm-implausible", "caution")]


def test_only_what_is_a_finding_is_turned_into_one() -> None:
    assert refusal(lambda: found("50.0", "250.0", "50.0")) == "gross-not-above-tare"


@pytest.mark.parametrize(
    ("dry", "flagged"), [("119.9", True), ("120.0", False), ("194.0", False), ("194.1", True)]
)
def test_a_dry_matter_outside_60_to_97_is_a_caution(dry: str, flagged: bool) -> None:
    gross = str(D("50.0") + D(dry))
    assert found("50.0", "250.0", gross) == ([("dm-implausible", "caution")] if flagged else [])


def test_ground_hay_should_hold_3_to_15_percent_of_water() -> None:
    # NFTA method 2.2.
    outside = [lab for lab in ("84.9", "85.0", "97.0", "97.1") if lab_dm_findings(D(lab))]
    assert outside == ["84.9", "97.1"]


def test_partial_dry_matter_is_never_shown_as_the_total() -> None:
    first = partial("20.00", "220.00", "202.00")
    assert total_dm(first, None) is None
    assert total_dm(None, D("93.5")) is None
    assert total_dm(first, None, one_step=True) is None
    assert total_dm(None, None, one_step=True) is None


def test_the_total_carries_both_uncertainties() -> None:
    first = partial("20.00", "220.00", "202.00")
    total = total_dm(first, D("93.5"), lab_u=D("0.4"))
    theirs = ufloat(float(first.value), float(first.u)) * ufloat(93.5, 0.4) / 100
    assert total is not None
    assert float(total.u) == pytest.approx(theirs.s, rel=1e-9)
    assert "uncertainty" in total.covers


def test_a_lab_figure_without_uncertainty_lends_its_last_digit_and_says_so() -> None:
    first = partial("20.00", "220.00", "202.00")
    total = total_dm(first, D("93.5"))
    theirs = ufloat(91, float(first.u)) * ufloat(93.5, 0.1 / math.sqrt(12)) / 100
    assert total is not None
    assert float(total.u) == pytest.approx(theirs.s, rel=1e-9)
    assert "last digit" in total.covers and "weighing" in total.covers


def test_hay_that_skipped_the_first_oven_has_the_lab_figure_as_total() -> None:
    total = total_dm(None, D("88.1"), one_step=True, lab_u=D("0.3"))
    assert total is not None
    assert (total.value, total.u) == (D("88.1"), D("0.3"))
    assert "weighing" not in total.covers
    # NFTA method 2.2: the first step may be skipped at 85 % or more.
    assert one_step_findings(D("85.0")) == ()
    assert [finding.code for finding in one_step_findings(D("84.9"))] == ["one-step-too-moist"]


@given(tenths, tenths, st.integers(0, 1000).map(lambda tenth: D(tenth) / 10))
def test_the_total_never_exceeds_the_partial(dry_net: D, water: D, lab: D) -> None:
    first = partial("50.0", f"{50 + dry_net + water:.1f}", f"{50 + dry_net:.1f}")
    total = total_dm(first, lab)
    assert total is not None
    assert 0 <= total.value <= first.value
    assert bool(total_dm_findings(total)) == (not 60 <= total.value <= 97)


def test_one_gram_on_two_hundred_is_constant_mass() -> None:
    # Field rule of extension pages: a change of 1 g or less on a 200 g sample.
    agreed = constant_mass(D("228.4"), D("227.4"), D("200.0"))
    assert agreed.agree and agreed.difference == D("-0.5")
    lost = constant_mass(D("228.4"), D("227.3"), D("200.0"))
    assert not lost.agree and "dry it further" in lost.words
    gained = constant_mass(D("228.4"), D("229.5"), D("200.0"))
    assert not gained.agree and "moisture" in gained.words


def test_the_laboratory_grade_of_constant_mass_can_be_set() -> None:
    strict = Practice({"constant_mass": D("0.1")})
    assert not constant_mass(D("228.4"), D("227.4"), D("200.0"), strict).agree
    assert constant_mass(D("228.4"), D("228.2"), D("200.0"), strict).agree


def test_constant_mass_of_no_hay_is_refused() -> None:
    assert refusal(lambda: constant_mass(D("1.0"), D("1.0"), D(0))) == "not-positive"


@given(tenths, st.integers(-50, 50).map(lambda tenth: D(tenth) / 10))
def test_which_weighing_came_first_does_not_change_the_agreement(dry: D, change: D) -> None:
    assume(dry + change > 0)
    there, back = constant_mass(dry, dry + change, D(200)), constant_mass(dry + change, dry, D(200))
    assert there.agree == back.agree == (abs(change) <= 1)
    assert there.difference == -back.difference


@pytest.mark.parametrize(
    ("hours", "celsius", "expected"),
    [
        # UC Davis method 507: 55 to 60 C for about 12 h; above 60 C the hay changes chemically.
        ("12", "60", []),
        ("11.9", "55", ["oven-short"]),
        ("16", "61", ["oven-hot"]),
        ("3", "105", ["oven-short", "oven-hot"]),
    ],
)
def test_a_load_too_short_or_too_hot_is_flagged(hours: str, celsius: str, expected: list[str]) -> None:
    assert [finding.code for finding in load_findings(D(hours), D(celsius))] == expected


def test_hot_drying_is_a_caution_on_the_fibre() -> None:
    (finding,) = load_findings(D(16), D(80))
    assert "NDF" in finding.constituents and "80 C" in finding.words


def test_a_load_that_came_out_before_it_went_in_is_refused() -> None:
    assert refusal(lambda: load_findings(D(0), D(55))) == "oven-times-reversed"
