"""Control charts of check samples, and the order of a run."""

from __future__ import annotations

import math
from collections import Counter
from decimal import Decimal as D
from itertools import groupby

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.check_samples import (
    BLIND,
    CHECK,
    LEAST_RUNS,
    SAMPLE,
    Limits,
    Verdict,
    duplicate_difference,
    evaluate,
    freeze,
    in_control,
    individuals,
    run_findings,
    run_list,
)
from tracker.domain.findings import CAUTION, HOLD
from tracker.domain.practice import Practice
from tracker.errors import Refused


def decimals(text: str) -> list[D]:
    return [D(value) for value in text.split()]


# Montgomery & Runger, Applied Statistics and Probability for Engineers, table 16-3: chemical concentration.
VECTOR_A = decimals(
    "102.0 94.8 98.3 98.4 102.0 98.5 99.0 97.7 100.0 98.1 101.3 98.7 101.1 98.4 97.0 96.7 100.3 101.4 97.2 101.0"
)
# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (data from memory; the sums agree with themselves).
VECTOR_B = decimals("49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1")
# Worked by hand from Westgard's published rules.
VECTOR_C = decimals("0.3 -0.8 2.1 2.4 0.2 -2.2 2.3 3.4 1.2 1.1 1.5 1.3 0.4 0.2 0.6 0.1 0.9 0.3")
UNIT = Limits("1", "CP", D(0), D(1), 20, ("run 1", "run 20"))


def near(value: D, expected: str) -> bool:
    """Whether the value, rounded to as many decimals, is the expected one."""
    return value.quantize(D(expected)) == D(expected)


def test_vector_a_gives_the_published_chart() -> None:
    # Published, from rounded steps: mean 99.1, moving range 2.59, limits 105.99 and 92.21.
    chart = individuals(VECTOR_A)
    assert near(chart.mean, "99.1") and near(chart.moving_range, "2.59")
    assert abs(chart.upper - D("105.99")) < D("0.01") and abs(chart.lower - D("92.21")) < D("0.01")
    # Exact, computed; the range limit's 3.267 is from memory.
    assert near(chart.mean, "99.095") and near(chart.moving_range, "2.5895")
    assert near(chart.upper, "105.9819") and near(chart.lower, "92.2081") and near(chart.range_upper, "8.460")


def test_vector_b_gives_the_handbooks_chart() -> None:
    chart = individuals(VECTOR_B)
    assert near(chart.mean, "50.81") and near(chart.moving_range, "1.8778")
    assert near(chart.upper, "55.8041") and near(chart.lower, "45.8159")


def test_the_constants_are_those_of_two_normal_values() -> None:
    # d2 = 2 / √π and d3 = √(2 - 4/π), so D4 = 1 + 3 d3 / d2; tables round them to 1.128 and 3.267.
    d2 = 2 / math.sqrt(math.pi)
    chart = individuals([D(0), D(1)])
    assert float(1 / chart.sigma) == pytest.approx(d2, abs=0.0005)
    assert float(chart.range_upper) == pytest.approx(1 + 3 * math.sqrt(2 - 4 / math.pi) / d2, abs=0.0007)


def test_vector_a_is_in_control_and_its_limits_can_be_frozen() -> None:
    limits = freeze(VECTOR_A, version="2026-1", constituent="CP", from_to=("run 1", "run 20"))
    assert (limits.version, limits.constituent, limits.n) == ("2026-1", "CP", 20)
    assert str(limits.mean) == "99.095000" and near(limits.sigma, "2.2956")
    assert in_control(evaluate(VECTOR_A, limits))


@pytest.mark.parametrize(
    ("values", "code"),
    [
        (VECTOR_A[:19], "too-few-runs"),
        ([D("12.1")] * 20, "runs-without-spread"),
        # One value far off lifts the SD it is judged by, and still stands out.
        ([*VECTOR_A, D("125.0")], "runs-out-of-control"),
        # Within 3 SD, but a jump larger than two values of one process make: 3.267 times the mean range.
        ([D(10 + index % 2) for index in range(20)] + [D(14)], "runs-out-of-control"),
    ],
)
def test_limits_are_not_frozen_from_such_runs(values: list[D], code: str) -> None:
    with pytest.raises(Refused) as caught:
        freeze(values, version="1", constituent="CP", from_to=("run 1", "run 20"))
    assert caught.value.code == code and caught.value.remedy


def test_vector_c_breaks_the_rules_it_should() -> None:
    verdicts = evaluate(VECTOR_C, UNIT)
    told = {verdict.index + 1: " ".join(verdict.rules) for verdict in verdicts if verdict.rules}
    assert told == {
        3: "1-2s",
        4: "2-2s",
        6: "1-2s",
        7: "1-2s",
        8: "1-3s 2-2s",
        **dict.fromkeys((10, 11, 12), "4-1s"),
        **dict.fromkeys((16, 17, 18), "10-x"),
    }
    assert [verdict.index + 1 for verdict in verdicts if verdict.level == "warning"] == [3, 6, 7]
    assert [str(verdict.z) for verdict in verdicts] == [f"{z}0" for z in VECTOR_C]


def test_two_check_samples_of_one_run_on_opposite_sides_break_r_4s() -> None:
    runs = list(range(len(VECTOR_C)))
    assert not any("R-4s" in verdict.rules for verdict in evaluate(VECTOR_C, UNIT, runs))
    runs[6] = runs[5]
    judged = evaluate(VECTOR_C, UNIT, runs)
    assert [(v.index + 1, v.rules, v.level) for v in judged if "R-4s" in v.rules] == [
        (7, ("R-4s",), "reject")
    ]
    mirrored = evaluate([-point for point in VECTOR_C], UNIT, runs)
    assert [verdict.rules for verdict in mirrored] == [verdict.rules for verdict in judged]


@pytest.mark.parametrize(
    ("points", "rules"),
    # Beyond is strictly beyond: at the line is not beyond it.
    [
        (["2"], ()),
        (["2.001"], ("1-2s",)),
        (["3"], ("1-2s",)),
        (["3.001"], ("1-3s",)),
        (["2.1", "2"], ()),
        (["-2.1", "-2.1"], ("2-2s",)),
        (["1.1", "1.1", "1.1", "1"], ()),
        (["-1.1"] * 4, ("4-1s",)),
        (["0.1"] * 9 + ["0"], ()),
        (["0.1"] * 9, ()),
        (["-0.1"] * 10, ("10-x",)),
        (["0.1"] * 9 + ["-0.1"], ()),
    ],
)
def test_exactly_on_the_line_is_not_beyond_it(points: list[str], rules: tuple[str, ...]) -> None:
    limits = Limits("1", "NDF", D("40.0"), D("0.5"), 20, ("run 1", "run 20"))
    assert evaluate([D("40.0") + D(z) * D("0.5") for z in points], limits)[-1].rules == rules


@given(st.lists(st.integers(-40, 40), max_size=30))
def test_a_point_is_judged_by_what_came_before_it_only(tenths: list[int]) -> None:
    points = [D(tenth) / 10 for tenth in tenths]
    whole = evaluate(points, UNIT)
    for count in range(len(points)):
        assert evaluate(points[:count], UNIT) == whole[:count]
    mirrored = evaluate([-point for point in points], UNIT)
    assert [verdict.rules for verdict in mirrored] == [verdict.rules for verdict in whole]
    assert all((abs(D(t)) > 30) <= ("1-3s" in v.rules) for t, v in zip(tenths, whole, strict=True))


def test_a_reject_holds_the_run_and_a_warning_goes_with_it() -> None:
    verdicts = evaluate([D("0.3"), D("2.1"), D("2.4")], UNIT)
    assert in_control(verdicts[:2]) and not in_control(verdicts)
    warning, held = run_findings(verdicts, UNIT)
    assert (warning.level, held.level) == (CAUTION, HOLD)
    assert held.constituents == ("CP",)
    assert held.words == "Check sample 3 lies +2.40 SD from its mean for CP (limits 1): 2-2s."
    assert run_findings([Verdict(0, D("0.3"), (), "in control")], UNIT) == ()


@given(st.integers(1, 90), st.integers(1, 25), st.integers(0, 10**9))
def test_a_run_has_check_samples_first_after_every_so_many_and_last(
    count: int, every: int, seed: int
) -> None:
    codes = [f"S{number}" for number in range(count)]
    rows = run_list(codes, "CHECK", blind_duplicate_seed=seed, every=every)
    assert rows == run_list(codes, "CHECK", blind_duplicate_seed=seed, every=every)
    assert [row.position for row in rows] == list(range(1, len(rows) + 1))
    assert rows[0].kind == rows[-1].kind == CHECK
    assert {row.code for row in rows if row.kind == CHECK} == {"CHECK"}
    assert [row.code for row in rows if row.kind == SAMPLE] == codes
    stretches = [
        list(group) for check, group in groupby(rows, key=lambda row: row.kind == CHECK) if not check
    ]
    assert len(stretches) == math.ceil(count / every) == sum(row.kind == CHECK for row in rows) - 1
    for place, stretch in enumerate(stretches):
        kinds = Counter(row.kind for row in stretch)
        assert kinds == {SAMPLE: min(every, count - place * every), BLIND: 1}
        (twin,) = (row for row in stretch if row.kind == BLIND)
        (original,) = (row for row in stretch if row.kind == SAMPLE and row.code == twin.code)
        assert len(stretch) < 3 or abs(twin.position - original.position) > 1


def test_every_sample_is_as_likely_to_be_the_duplicate() -> None:
    codes = [f"S{number}" for number in range(5)]
    drawn = Counter(
        row.code
        for seed in range(2000)
        for row in run_list(codes, "CHECK", blind_duplicate_seed=seed)
        if row.kind == BLIND
    )
    # 400 of each expected, with an SD of 18.
    assert set(drawn) == set(codes) and all(320 < often < 480 for often in drawn.values())


@pytest.mark.parametrize(
    ("codes", "every", "code"),
    [
        ([], 20, "run-empty"),
        (["A"], 0, "not-a-count"),
        (["A", "B", "A"], 20, "sample-twice"),
        (["A", "CHECK"], 20, "check-sample-in-run"),
    ],
)
def test_what_is_no_run_is_refused(codes: list[str], every: int, code: str) -> None:
    with pytest.raises(Refused) as caught:
        run_list(codes, "CHECK", blind_duplicate_seed=1, every=every)
    assert caught.value.code == code and caught.value.remedy


@pytest.mark.parametrize(
    ("constituent", "first", "second", "limit", "within"),
    # 2.8 SD (ISO 5725-6, from memory) with 0.20 for CP (NFTA method 3.4) and 0.75 for NDF (Shewmaker & Putnam).
    [
        ("CP", "18.20", "18.76", "0.56", True),
        ("CP", "18.77", "18.20", "0.56", False),
        ("NDF", "42.0", "44.1", "2.10", True),
        ("NDF", "42.0", "44.2", "2.10", False),
    ],
)
def test_blind_duplicates_may_differ_by_what_the_laboratory_repeats(
    constituent: str, first: str, second: str, limit: str, within: bool
) -> None:
    judged = duplicate_difference(constituent, D(first), D(second))
    assert (judged.limit, judged.within) == (D(limit), within)
    assert judged.difference == abs(D(first) - D(second))


def test_the_programmes_own_sd_judges_duplicates() -> None:
    own = Practice({"cp_lab_sd": D("0.1")})
    assert duplicate_difference("CP", D("18.20"), D("18.50"), own).within is False


def test_a_constituent_without_a_known_sd_is_told_and_not_judged() -> None:
    judged = duplicate_difference("Ca", D("1.30"), D("1.35"))
    assert (judged.limit, judged.within) == (None, None)
    assert judged.words == "Ca: 1.30 and 1.35 differ by 0.05; the laboratory's SD is not known."


def test_limits_without_an_sd_judge_nothing() -> None:
    with pytest.raises(Refused) as caught:
        Limits("1", "CP", D(0), D(0), 20, ("run 1", "run 20"))
    assert caught.value.code == "runs-without-spread"


def test_twenty_runs_are_the_least() -> None:
    # Common practice for individuals charts.
    assert LEAST_RUNS == 20
