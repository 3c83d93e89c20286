"""What animals need, against printed requirements. Each check names its source; a printed weight is a shrunk one."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.domain.feeding_makers import carrying, cow, shrunk
from tracker.domain.animals import BULL, HEIFER, Animals, checked
from tracker.domain.needs import (
    KG_PER_POUND,
    cold_factor,
    equation_intake_lb,
    milk_kg,
    need_of,
    needed_density,
    nem_of_tdn,
    pregnancy_mcal,
    tdn_lb,
)


def near(value: D, wanted: str | float, within: float) -> bool:
    return abs(float(value) - float(wanted)) <= within


# NRC, Nutrient Requirements of Beef Cattle 1996, p. 43: NEm for a calf of 38.5 kg, printed to 0.001 Mcal.
@pytest.mark.parametrize(
    ("day", "mcal"),
    [(130, "0.327"), (160, "0.634"), (190, "1.166"), (220, "2.027"), (250, "3.333"), (280, "5.174")],
)
def test_the_calf_to_come_needs_what_the_nrc_prints(day: int, mcal: str) -> None:
    assert near(pregnancy_mcal(D("38.5"), D(day)), mcal, 0.0015)


# Univ. of Georgia, Using cotton byproducts: NEm in Mcal/lb by TDN, printed to 0.01. The cubic is from memory.
@pytest.mark.parametrize(("tdn", "mcal"), [("95", "1.08"), ("75", "0.81")])
def test_energy_of_a_feed_is_what_georgia_prints(tdn: str, mcal: str) -> None:
    assert near(nem_of_tdn(D(tdn)), mcal, 0.005)


# NRC 1996 p. 45: milk peaks in week 8.5; the two other weeks follow from the form printed there, computed by hand.
@pytest.mark.parametrize(("week", "share"), [("8.5", "1"), ("4.35", "0.834"), ("13.0", "0.901")])
def test_milk_rises_to_its_peak_and_falls(week: str, share: str) -> None:
    assert near(milk_kg(D(1), D(week)), share, 0.0006)


def test_a_cow_of_1200_lb_with_15_lb_of_milk_needs_what_purdue_prints() -> None:
    # Purdue 2007 after NRC 1996: about 58 % TDN and 9.5 % CP in early lactation; both ends of the first two months.
    for days in (30, 61):
        animals = shrunk("1200", days_since_calving=days, peak_milk_lb="15", calf_lb="80")
        diet = needed_density(need_of(animals), animals)
        assert diet and near(diet.tdn, 58, 1.2) and near(diet.cp, 9.5, 0.35)


def test_a_first_calf_heifer_needs_about_what_purdue_prints() -> None:
    # Purdue 2007 after NRC 1996: about 62 % TDN and 10.5 % CP. The weight is not printed, and growth is not in our
    # need, so it falls short by up to 2 points of TDN and 0.8 of CP; docs/feeding.md says so.
    animals = checked(kind=HEIFER, weight_lb="1000", days_since_calving="60", peak_milk_lb="15")
    diet = needed_density(need_of(animals), animals)
    assert diet and near(diet.tdn, 62, 2) and near(diet.cp, 10.5, 0.8)


# Univ. of Arizona AZ9523, cow of 1,000 lb: lb of CP, printed to 0.1. The day of "late" is not printed; 240 is taken.
@pytest.mark.parametrize(
    ("animals", "low", "high"),
    [
        (shrunk("1000", days_to_calving=283 - 240), 1.6, 1.65),
        (shrunk("1000", peak_milk_lb="10"), 1.95, 2.05),
        (shrunk("1000", peak_milk_lb="7"), 1.75, 1.9),
        # Mid-pregnancy is printed as 1.4; ours is lower by 0.1.
        (shrunk("1000", days_to_calving=283 - 150), 1.28, 1.4),
    ],
)
def test_protein_is_what_arizona_prints(animals: Animals, low: float, high: float) -> None:
    assert low <= float(need_of(animals).cp_lb) <= high


def test_arizonas_older_protein_for_much_milk_is_lower_than_ours() -> None:
    # AZ9523 prints 2.14 to 2.24 lb for 18 lb of milk, by an older protein system: a known disagreement.
    assert near(need_of(shrunk("1000", peak_milk_lb="18")).cp_lb, 2.63, 0.02)


# Univ. of Nebraska G2268 (15 to 16 lb) and Jenkins (14.5 to 16.5): lb of TDN at the peak, 1,200 lb.
@pytest.mark.parametrize(("peak", "tdn"), [("15", 15.6), ("18", 16.4)])
def test_tdn_at_the_peak_is_what_nebraska_prints(peak: str, tdn: float) -> None:
    animals = shrunk("1200", peak_milk_lb=peak)
    need = need_of(animals)
    diet = needed_density(need, animals)
    assert diet
    pounds = tdn_lb(need.nem_mcal, diet.tdn)
    assert near(pounds, tdn, 0.1) and 14.5 <= pounds <= 16.5


# Beef magazine 1231, Late gestation: from month 7 to month 9 protein rises 28 to 30 %, TDN 15 to 17 %.
def test_the_last_months_of_pregnancy_rise_as_printed() -> None:
    early, late = shrunk("1200", days_to_calving=283 - 213), shrunk("1200", days_to_calving=283 - 274)
    rise = [need_of(late).cp_lb / need_of(early).cp_lb]
    diets = [needed_density(need_of(animals), animals) for animals in (early, late)]
    assert diets[0] and diets[1]
    rise.append(diets[1].tdn * diets[1].dmi_lb / (diets[0].tdn * diets[0].dmi_lb))
    assert 1.28 <= rise[0] <= 1.30 and 1.145 <= rise[1] <= 1.175


# A dry cow: beefmagazine.com (1,200 lb, mid-gestation: 10.1 lb TDN, 1.4 lb CP), Louisiana State Univ. 2005 (1,100 lb:
# 9.5 lb, 1.4 lb); Oklahoman 2002 and Univ. of Arkansas Pine Bluff (1,100 lb pregnant: 11 to 11.2 lb, 1.5 to 1.6 lb).
# They print TDN, which one energy is less of on better hay: taken on hay of 54 %.
@pytest.mark.parametrize(
    ("weight", "day", "tdn", "cp"),
    [("1200", 150, "10.1", "1.4"), ("1100", 150, "9.5", "1.4"), ("1100", 230, "11.1", "1.55")],
)
def test_a_dry_cow_needs_about_what_extension_prints(weight: str, day: int, tdn: str, cp: str) -> None:
    need = need_of(carrying(weight, day))
    assert near(tdn_lb(need.nem_mcal, D(54)), tdn, 0.7) and near(need.cp_lb, cp, 0.12)


# From memory, NOT published: % CP of the printed NRC table for a 1,200-lb cow (shrunk) with 20 lb of milk by month
# after calving, with an 80-lb calf and gestation from day 85 on. A check of consistency until somebody looks it up.
FROM_MEMORY = (10.10, 10.69, 9.92, 9.25, 8.54, 7.92, 5.99, 6.18, 6.50, 7.00, 7.73, 8.78)


@pytest.mark.parametrize("month", range(1, 13))
def test_the_year_runs_as_the_table_is_remembered(month: int) -> None:
    days = round(30.417 * month)
    stage: dict[str, int] = {}
    if month <= 6:
        stage["days_since_calving"] = days
    if month >= 3:
        stage["days_to_calving"] = 283 - (days - 85)
    animals = shrunk("1200", calf_lb="80", **stage)
    diet = needed_density(need_of(animals), animals)
    assert diet and near(diet.cp, FROM_MEMORY[month - 1], 0.03)


# Computed with these equations when they were written (regression): full weight, stage, NEm, CP, DMI, TDN %.
@pytest.mark.parametrize(
    ("animals", "mcal", "cp", "dmi", "tdn"),
    [
        (carrying("1000", 150), 7.85, 1.26, 20.4, 46.7),
        (carrying("1000", 240), 10.18, 1.60, 20.4, 53.8),
        (cow("1000", peak_milk_lb="10"), 12.06, 1.97, 21.5, 57.8),
        (cow("1000"), 15.32, 2.75, 24.4, 62.3),
        (carrying("1200", 150), 8.93, 1.44, 23.4, 46.5),
        (carrying("1200", 270), 12.91, 2.04, 23.7, 56.7),
        (cow("1200"), 16.61, 2.93, 27.1, 61.2),
        (carrying("1400", 240), 12.29, 1.94, 26.1, 52.0),
        (cow("1400"), 17.85, 3.10, 29.7, 60.4),
    ],
)
def test_needs_stay_as_they_were_computed(
    animals: Animals, mcal: float, cp: float, dmi: float, tdn: float
) -> None:
    need = need_of(animals)
    diet = needed_density(need, animals)
    assert near(need.nem_mcal, mcal, 0.011) and near(need.cp_lb, cp, 0.006)
    assert diet and near(diet.dmi_lb, dmi, 0.06) and near(diet.tdn, tdn, 0.06)


@pytest.mark.parametrize(
    ("weight", "mcal", "cp"), [("1600", 12.01, 1.70), ("1800", 13.12, 1.85), ("2000", 14.20, 2.00)]
)
def test_bulls_stay_as_they_were_computed(weight: str, mcal: float, cp: float) -> None:
    need = need_of(checked(kind=BULL, weight_lb=weight))
    assert near(need.nem_mcal, mcal, 0.006) and near(need.cp_lb, cp, 0.006)


def test_the_worked_cow_needs_what_was_worked_out() -> None:
    # By hand: SBW 555.2 kg, SBW^0.75 114.38; maintenance 10.568, milk 9.0718 kg x 0.7178 = 6.512 Mcal.
    need = need_of(cow())
    assert [part.name for part in need.parts] == ["maintenance", "milk"]
    assert near(need.parts[0].nem_mcal, "10.568", 0.001) and near(need.parts[1].nem_mcal, "6.512", 0.001)
    assert near(need.nem_mcal, "17.080", 0.001) and near(need.cp_lb, "2.992", 0.001)
    diet = needed_density(need, cow())
    assert diet and near(diet.tdn, "60.91", 0.01) and near(diet.dmi_lb, "28.11", 0.01)


# Kansas State Univ., Beef Tips: from 32 F down (dry winter coat) 1 % more energy for each degree F. Alabama
# Extension: wet, 2 % for each degree under 59 F.
@pytest.mark.parametrize(
    ("coat", "felt", "condition", "factor"),
    [
        ("dry winter", "12", "5", "1.20"),
        ("dry heavy winter", "18", "5", "1"),
        ("dry fall", "50", "5", "1"),
        ("wet or summer", "49", "5", "1.20"),
        ("dry winter", "12", "3", "1.40"),
    ],
)
def test_cold_adds_energy_and_no_protein(coat: str, felt: str, condition: str, factor: str) -> None:
    cold = cow(coat=coat, effective_f=felt, condition=condition)
    assert cold_factor(cold) == D(factor)
    assert need_of(cold).nem_mcal == need_of(cow()).nem_mcal * D(factor)
    assert need_of(cold).cp_lb == need_of(cow()).cp_lb


def test_the_first_month_counts_as_its_end() -> None:
    assert need_of(cow(days_since_calving="3")) == need_of(cow(days_since_calving="30"))


def test_condition_leaves_the_need_of_cows_alone() -> None:
    # The equations' condition term is for growing cattle: thin cows would be given less.
    assert need_of(cow(condition="3")) == need_of(cow(condition="7"))


WEIGHTS = st.integers(800, 2000)


@given(WEIGHTS, st.integers(1, 200), st.integers(0, 30), st.integers(6, 30))
def test_heavier_milkier_and_colder_animals_need_more(weight: int, more: int, colder: int, peak: int) -> None:
    def need(pounds: int, milk: int, felt: int) -> D:
        animals = cow(str(pounds), peak_milk_lb=str(milk), coat="dry winter", effective_f=str(felt))
        return need_of(animals).nem_mcal

    base = need(weight, peak, 40)
    assert need(weight + more, peak, 40) > base
    assert need(weight, peak + 1, 40) > base
    assert need(weight, peak, 31 - colder) > base


@given(st.integers(0, 281))
def test_the_need_of_a_dry_cow_rises_day_by_day(day: int) -> None:
    today, tomorrow = need_of(carrying("1200", day)), need_of(carrying("1200", day + 1))
    assert tomorrow.nem_mcal > today.nem_mcal and tomorrow.cp_lb > today.cp_lb


@given(st.integers(36, 74), WEIGHTS)
def test_better_hay_brings_more_energy_by_the_equation(tdn: int, weight: int) -> None:
    def energy(value: int) -> D:
        return equation_intake_lb(cow(str(weight)), D(value)) * nem_of_tdn(D(value))

    assert energy(tdn + 1) > energy(tdn)


def test_intake_by_the_equation_is_what_nebraska_implies() -> None:
    # Jenkins, Nebraska: hay of 56 % TDN gives a 1,200-lb cow 15 lb of TDN, which is 26.8 lb of dry matter.
    eaten = equation_intake_lb(shrunk("1200"), D(56))
    assert near(eaten, 26.8, 0.15) and near(eaten * D("0.56"), 15, 0.1)


def test_a_pound_is_the_pound_of_1959() -> None:
    assert D("0.45359237") == KG_PER_POUND
