"""The coring plan."""

from __future__ import annotations

import json
from collections import Counter
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.coring import (
    CoringPlan,
    Pick,
    bale_picks,
    deviations,
    entry_for,
    plan,
    walk,
    when_to_sample,
)
from tracker.domain.lot import LotFacts
from tracker.domain.practice import Practice
from tracker.domain.precision import practice_margin
from tracker.domain.probe import checked_probe, core_grams, depth_for, expected_mass
from tracker.errors import Refused

FIVE_EIGHTHS = checked_probe("5/8 inch", "15.875", "610")
THREE_EIGHTHS = checked_probe("3/8 inch", "9.525", "610")
ONE_INCH = checked_probe("1 inch", "25.4", "610")
FIFTEEN_INCHES = Decimal("381")


def make_lot(**changes: Any) -> LotFacts:
    values = {
        "field_name": "North 40",
        "cutting": 1,
        "forage_kind": "timothy",
        "harvest_date": date(2026, 6, 1),
        "bale_shape": "small square",
        "bale_count": 118,
        "bale_mass": Decimal(55),
    }
    return LotFacts(**{**values, **changes})


def make_plan(**changes: Any) -> CoringPlan:
    lot = {name: changes.pop(name) for name in list(changes) if name in LotFacts.__dataclass_fields__}
    return plan(make_lot(**lot), changes.pop("probe", FIVE_EIGHTHS), **{"seed": 4711, **changes})


def test_a_round_bale_is_entered_from_the_side() -> None:
    assert entry_for("round") == "side"


@pytest.mark.parametrize("shape", ["large square", "small square"])
def test_a_square_bale_is_entered_from_the_end(shape: str) -> None:
    # Eight steps to better hay sampling; NDSU Extension; Orloff 1999 for 1-ton bales.
    assert entry_for(shape) == "end"


def test_twenty_of_a_hundred_bales_are_every_fifth() -> None:
    # Common practice in the trade: every 3rd, 5th or 10th bale by the size of the stack.
    bales = [pick.bale for pick in bale_picks(100, 20, seed=1)]
    assert bales == list(range(bales[0], 101, 5)) and 1 <= bales[0] <= 5


def test_eight_bales_share_twenty_cores_as_three_and_two() -> None:
    # 20 = 8 · 2 + 4, worked by hand.
    picks = bale_picks(8, 20, seed=3)
    assert [pick.bale for pick in picks] == list(range(1, 9))
    assert Counter(pick.cores for pick in picks) == {3: 4, 2: 4}


def test_the_same_seed_gives_the_same_walk_on_every_machine() -> None:
    # random.Random(4711).random() is documented to stay the same across versions of Python.
    assert [pick.bale for pick in bale_picks(1000, 3, seed=4711)] == [46, 379, 712]
    assert len({bale_picks(1000, 20, seed) for seed in range(40)}) > 10


@given(st.integers(1, 400), st.integers(1, 100), st.integers(0, 2**40))
def test_picks_are_distinct_in_order_and_even(bales: int, cores: int, seed: int) -> None:
    picks = bale_picks(bales, cores, seed)
    numbers = [pick.bale for pick in picks]
    counts = [pick.cores for pick in picks]
    assert numbers == sorted(set(numbers)) and numbers[0] >= 1 and numbers[-1] <= bales
    assert sum(counts) == cores and len(picks) == min(bales, cores)
    assert max(counts) - min(counts) <= 1
    steps = {after - before for before, after in pairwise(numbers)}
    assert not steps or max(steps) - min(steps) <= 1


@given(st.integers(1, 80).flatmap(lambda bales: st.tuples(st.just(bales), st.integers(1, bales))))
def test_every_bale_is_as_likely_as_every_other(lot: tuple[int, int]) -> None:
    bales, picks = lot
    drawn = Counter(bale for start in range(bales) for bale in walk(bales, picks, start))
    assert drawn == dict.fromkeys(range(1, bales + 1), picks)


@pytest.mark.parametrize(
    ("inches", "depth", "density", "grams"),
    # pi/4 d² L / 1728 · density · 453.592, worked by hand.
    [
        ("0.375", 12, 10, "3.48"),
        ("0.375", 15, 10, "4.35"),
        ("0.5", 15, 10, "7.73"),
        ("0.625", 15, 10, "12.08"),
        ("0.625", 15, 15, "18.12"),
        ("0.75", 18, 10, "20.87"),
        ("1", 18, 10, "37.11"),
    ],
)
def test_a_core_weighs_what_its_cylinder_holds(inches: str, depth: int, density: int, grams: str) -> None:
    mass = core_grams(Decimal(inches) * Decimal("25.4"), depth * Decimal("25.4"), Decimal(density))
    assert abs(mass - Decimal(grams)) < Decimal("0.006")


def test_twenty_cores_of_five_eighths_give_the_half_pound_wanted() -> None:
    # Putnam, Little dab'll do ya: about half a pound (227 g). At 9.5 lb per cubic foot (Shewmaker: 8 to 11)
    # 242 g · 0.95 = 230 g, from 193 to 266 g.
    mass = expected_mass(FIVE_EIGHTHS, FIFTEEN_INCHES, 20, "small square")
    assert (mass.usual, mass.least, mass.most) == (230, 193, 266)


def test_the_firmness_of_round_bales_is_on_dry_matter() -> None:
    # 10.5 lb DM per cubic foot (Missouri: 9 to 12) at 88 % is 11.93 as received: 241.6 g · 1.193 = 288 g.
    assert expected_mass(FIVE_EIGHTHS, FIFTEEN_INCHES, 20, "round").usual == 288


def test_a_narrow_probe_is_told_how_to_reach_the_mass() -> None:
    # 87 g · 0.95 = 83 g; 150 / 83 = 1.807: 381 mm becomes 689 mm (longer than the probe), 20 cores become 37,
    # 9.525 mm becomes 12.8, rounded up 13 mm.
    advice = make_plan(probe=THREE_EIGHTHS, depth_mm="381").mass_advice
    assert advice.startswith("About 83 g is expected, and the lab wants at least 150 g.")
    assert "Take 37 cores, or use a tip 13 mm wide inside." in advice
    assert "deep" not in advice


def test_a_deeper_core_is_offered_when_the_probe_is_long_enough() -> None:
    # 12 inches of 1/2 inch in a small square: 6.18 · 20 · 0.95 = 118 g; 150/118 · 305 mm = 388 mm.
    half_inch = checked_probe("1/2 inch", "12.7", "610")
    assert "Core 388 mm deep, or take 26 cores" in make_plan(probe=half_inch, depth_mm="305").mass_advice


def test_following_the_advice_reaches_the_mass() -> None:
    assert make_plan(probe=THREE_EIGHTHS, depth_mm="381", cores=37).mass_advice == ""
    wider = checked_probe("", "13", "610")
    assert make_plan(probe=wider, depth_mm="381").mass_advice == ""


def test_a_wide_probe_is_warned_of_and_the_sample_never_divided() -> None:
    # 30.92 g · 20 · 0.95 = 587.5 g; 25.4 mm · sqrt(450/588) = 22.2 mm.
    advice = make_plan(probe=ONE_INCH, depth_mm="381").mass_advice
    assert "588 g" in advice and "Never divide it" in advice and "22 mm wide" in advice


@pytest.mark.parametrize(
    ("inside", "length", "code"),
    [
        ("5", "450", "probe-too-narrow"),
        ("0.625", "450", "probe-too-narrow"),
        ("50", "450", "probe-too-wide"),
        ("16", "18", "probe-too-short"),
        ("16", "4500", "probe-too-long"),
        ("wide", "450", "not-a-number"),
    ],
)
def test_a_probe_that_cannot_be_is_refused(inside: str, length: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        checked_probe("odd", inside, length)
    assert caught.value.code == code


def test_cores_go_eighteen_inches_deep_or_as_far_as_the_probe() -> None:
    assert depth_for(FIVE_EIGHTHS) == 457
    assert depth_for(checked_probe("short", "16", "400")) == 400


@pytest.mark.parametrize(("depth", "code"), [("150", "depth-too-shallow"), ("611", "depth-beyond-probe")])
def test_a_depth_out_of_reach_is_refused(depth: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        make_plan(depth_mm=depth)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("cores", "reason", "code", "field"),
    [
        (14, "late", "too-few-cores", "cores"),
        (19, "", "too-few-cores", "reason"),
        (19, "  ", "too-few-cores", "reason"),
        (101, "", "too-many-cores", "cores"),
        ("some", "", "not-a-count", "cores"),
    ],
)
def test_cores_are_enough_or_have_a_reason(cores: int | str, reason: str, code: str, field: str) -> None:
    with pytest.raises(Refused) as caught:
        make_plan(cores=cores, reason=reason)
    assert (caught.value.code, caught.value.field) == (code, field)


def test_fifteen_cores_with_a_reason_keep_the_reason() -> None:
    made = make_plan(cores="15", reason="the far side cannot be reached")
    assert (made.cores, made.fewer_cores_reason) == (15, "the far side cannot be reached")
    assert make_plan(cores=20, reason="no matter").fewer_cores_reason == ""


def test_a_programme_may_want_twelve_cores() -> None:
    # Sheaffer et al. 2000: 12 cores were adequate for 400-kg bales.
    twelve = Practice({"cores": Decimal(12), "cores_least": Decimal(12)})
    assert make_plan(practice=twelve).cores == 12


def test_a_lot_too_large_is_not_planned() -> None:
    with pytest.raises(Refused) as caught:
        make_plan(bale_count=9000)
    assert caught.value.code == "lot-too-large"


def test_the_plan_states_the_margins_of_its_own_cores() -> None:
    made = make_plan(bale_count=6)
    shares = [pick.cores for pick in made.picks]
    assert made.cp_margin == practice_margin("cp", 6, shares).half_width
    assert made.ndf_margin == practice_margin("ndf", 6, shares).half_width
    assert made.ndf_margin > made.cp_margin > 0


@pytest.mark.parametrize("shape", ["round", "large square", "small square"])
def test_a_kept_plan_comes_back_as_it_was(shape: str) -> None:
    made = make_plan(bale_shape=shape, bale_count=9, bale_mass=None, cores=17, reason="rain", version=3)
    kept = json.loads(json.dumps(made.to_dict()))
    assert CoringPlan.from_dict(kept) == made
    assert all(isinstance(value, str) for value in kept.values() if not isinstance(value, list | dict))


def test_the_plan_keeps_the_practice_it_was_made_by() -> None:
    own = Practice({"cores": Decimal(24)})
    assert dict(make_plan(practice=own).practice)["cores"] == "24"
    assert dict(make_plan().practice)["lot_limit_basis"] == "as received"


def test_a_plan_followed_has_no_deviations() -> None:
    made = make_plan()
    assert deviations(made, {pick.bale: pick.cores for pick in made.picks}, "end", "457") == ()


def test_each_deviation_is_said() -> None:
    made = make_plan(bale_count=8)
    cored = {pick.bale: pick.cores for pick in made.picks}
    cored[1] = 6
    del cored[4]
    dropped = next(pick.cores for pick in made.picks if pick.bale == 4)
    first = next(pick.cores for pick in made.picks if pick.bale == 1)
    assert deviations(made, cored, "side", "400") == (
        f"Bale 1 gave 6 cores, planned were {first}.",
        "Bale 4 was planned and not cored.",
        f"{20 + 6 - first - dropped} cores in all, planned were 20.",
        "Cored from the side, planned was the end.",
        "Cored 400 mm deep, planned were 457 mm.",
    )


def test_a_neighbour_cored_instead_is_two_deviations() -> None:
    made = make_plan()
    cored = {pick.bale: pick.cores for pick in made.picks}
    chosen = made.picks[0].bale
    cored[chosen + 1] = cored.pop(chosen)
    assert deviations(made, cored, "end") == (
        f"Bale {chosen} was planned and not cored.",
        f"Bale {chosen + 1} was cored and not planned (1 core).",
    )


@pytest.mark.parametrize("bale", [0, 119])
def test_a_bale_that_the_lot_does_not_have_is_refused(bale: int) -> None:
    with pytest.raises(Refused) as caught:
        deviations(make_plan(), {bale: 1}, "end")
    assert caught.value.code == "no-such-bale"


def test_hay_is_cored_cured_and_right_before_its_use() -> None:
    # Ohio State: watch new hay for 3 weeks; California (CDQAP 2020): 6 weeks.
    words = when_to_sample(make_lot())
    assert words.startswith("Right before feeding or sale")
    assert "22 Jun 2026" in words and "13 Jul 2026" in words and "hot" in words
    assert "Tape" not in words


def test_holes_in_wrapped_bales_are_taped() -> None:
    # Common practice.
    assert "Tape every hole" in when_to_sample(make_lot(storage="wrapped"))


def test_a_pick_is_counted_from_one() -> None:
    assert bale_picks(1, 20, seed=9) == (Pick(1, 20),)
