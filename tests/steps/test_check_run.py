"""Check samples and blind duplicates among a file's rows."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from tests.check_runs import CHECK, TWENTY, checks_in, frozen, readings, run_made
from tests.makers import act, done, everything, life, remarks, standing
from tests.result_files import (
    NIR,
    WET,
    Bench,
    attached,
    parked,
    row,
    taken_in,
    unknown_code,
    wet_row,
    wet_written,
    why,
    written,
)
from tracker.steps.answer_parked import take_in
from tracker.steps.freeze_limits import freeze_limits

# Limits: mean 19.095, SD 2.2957. Three SD above are 25.98, two are 23.69.
IN_CONTROL, WARNING, OUT = "20.0", "24.0", "26.5"


def blind_code(bench: Bench, seed: int = 1) -> str:
    """The run is made; the code that it scans twice."""
    (found,) = [one["code"] for one in run_made(bench, seed=seed).rows if one["kind"] == "blind duplicate"]
    return str(found)


def test_a_row_of_a_check_sample_is_a_reading_and_is_not_parked(bench: Bench) -> None:
    run_made(bench)
    taken = taken_in(bench, written([row(CHECK), row(bench.codes[0]), row(" check 1 ")]))
    assert (taken.rows, taken.taken, taken.parked, taken.checks, taken.held) == (3, 1, 0, 2, 0)
    assert parked(bench) == ()
    first, second = readings(bench)
    assert (first.line, first.check_name, first.value, first.level) == (2, CHECK, D("18.6"), "none")
    assert (second.line, second.scanned_at) == (4, "2026-06-21T06:30:00-05:00")
    assert not standing(bench.season, bench.samples[0]).on_hold


def test_the_same_name_is_parked_where_no_run_of_the_source_had_it(bench: Bench) -> None:
    assert taken_in(bench, written([row(CHECK)])).parked == 1
    run_made(bench)
    assert taken_in(bench, wet_written([wet_row(CHECK)]), source=WET).parked == 1
    assert readings(bench) == []


def test_a_check_row_that_cannot_be_read_is_parked(bench: Bench) -> None:
    run_made(bench)
    taken_in(bench, written([row(CHECK, CP_pc_DM="x")]))
    assert why(parked(bench)[0]) == ["not-a-number"] and readings(bench) == []


def test_a_value_under_the_detection_limit_is_no_reading(bench: Bench) -> None:
    run_made(bench)
    taken_in(bench, written([row(CHECK, CP_pc_DM="<5")]))
    assert readings(bench) == [] and len(readings(bench, "NDF")) == 1


def test_the_same_file_again_reads_no_check_sample_twice(bench: Bench) -> None:
    run_made(bench)
    content = written([row(CHECK), row(bench.codes[0])])
    taken_in(bench, content)
    before = everything(bench.season)
    again = taken_in(bench, content)
    assert again.known and (again.rows, again.taken, again.checks) == (2, 1, 1)
    assert everything(bench.season) == before


@pytest.mark.parametrize(
    ("value", "level", "rules"),
    [(IN_CONTROL, "in control", []), (WARNING, "warning", ["1-2s"]), (OUT, "reject", ["1-3s"])],
)
def test_a_reading_is_judged_by_the_frozen_limits(
    bench: Bench, value: str, level: str, rules: list[str]
) -> None:
    limit = frozen(bench)
    taken = taken_in(bench, written([row(CHECK, CP_pc_DM=value), row(bench.codes[0])]))
    last = readings(bench)[-1]
    assert (last.level, last.rules, last.limit_id) == (level, rules, limit.id)
    assert len(taken.remarks) == (0 if level == "in control" else 1)
    # Other constituents have no limits yet.
    assert readings(bench, "NDF")[-1].level == "none"


def test_a_failed_check_puts_every_sample_of_the_file_on_hold(bench: Bench) -> None:
    frozen(bench)
    # The check sample is last, when the samples are in already.
    rows = [row(bench.codes[0]), row(bench.codes[1]), row(unknown_code(1)), row(CHECK, CP_pc_DM=OUT)]
    taken = taken_in(bench, written(rows))
    assert (taken.taken, taken.parked, taken.checks, taken.held) == (2, 1, 1, 2)
    for sample in bench.samples[:2]:
        (hold,) = standing(bench.season, sample).holds
        assert hold.reason == "Check sample out of control: CHECK 1, CP 26.5 in line 5 breaks 1-3s."
        assert standing(bench.season, sample).state == "scanned"
    assert not any(standing(bench.season, sample).on_hold for sample in bench.samples[2:])
    assert taken.remarks == ("Check sample 1 lies +3.23 SD from its mean for CP (limits 1): 1-3s.",)


def test_a_row_taken_in_later_from_a_failed_run_is_held_too(bench: Bench) -> None:
    frozen(bench)
    taken_in(bench, written([row(unknown_code(1)), row(CHECK, CP_pc_DM=OUT)]))
    (waits,) = parked(bench)
    done(
        bench.season,
        lambda s: take_in(s, waits.id, bench.codes[2], act(s, "ana", 1450), reason="run order"),
    )
    assert "out of control" in standing(bench.season, bench.samples[2]).holds[0].reason


def test_two_warnings_in_a_row_on_one_side_are_a_failure_also_across_files(bench: Bench) -> None:
    # 2-2s of Westgard's published rules.
    frozen(bench)
    assert taken_in(bench, written([row(CHECK, CP_pc_DM=WARNING)]), name="a.csv").held == 0
    assert (
        taken_in(bench, written([row(CHECK, CP_pc_DM="24.1"), row(bench.codes[0])]), name="b.csv").held == 1
    )
    assert readings(bench)[-1].rules == ["2-2s"]


def test_readings_before_the_limits_do_not_count_in_the_rules(bench: Bench) -> None:
    run_made(bench)
    # Frozen from readings of which the last lies beyond 2 SD: 23.9 and then 24.0 would break 2-2s together.
    values = [*TWENTY[:-1], "23.9"]
    checks_in(bench, values)
    done(
        bench.season,
        lambda s: freeze_limits(s, NIR, CHECK, "CP", act(s, "lena", 1320), reason="begin"),
    )
    taken_in(bench, written([row(CHECK, CP_pc_DM="24.5")]))
    assert readings(bench)[-1].rules == ["1-2s"]


def test_opposite_warnings_in_one_file_are_a_failure_and_in_two_files_are_not(bench: Bench) -> None:
    # R-4s: one above 2 SD and one below in one run; two SD below the mean are 14.50.
    frozen(bench)
    taken_in(bench, written([row(CHECK, CP_pc_DM=WARNING)]), name="a.csv")
    taken_in(bench, written([row(CHECK, CP_pc_DM="14.0")]), name="b.csv")
    assert readings(bench)[-1].rules == ["1-2s"]
    taken_in(bench, written([row(CHECK, CP_pc_DM="23.9")]), name="c.csv")
    taken_in(bench, written([row(CHECK, CP_pc_DM="14.1"), row(CHECK, CP_pc_DM="23.8")]), name="d.csv")
    assert readings(bench)[-1].rules == ["R-4s"]


def test_a_blind_duplicate_that_agrees_is_noted_and_both_scans_are_kept(bench: Bench) -> None:
    code = blind_code(bench)
    sample = bench.samples[bench.codes.index(code)]
    # 2.8 times the laboratory's SD of CP, 0.2 (NFTA method 3.4), is 0.56; 18.6 and 19.1 are 0.5 apart.
    taken = taken_in(bench, written([row(code), row(CHECK), row(code, CP_pc_DM="19.1")]))
    assert (taken.taken, taken.parked) == (2, 0)
    assert [str(values["CP"]) for values in attached(bench, sample)] == ["19.1", "18.6"]
    # Every constituent of the file has a spread of the laboratory to be held against: DM, CP, ADF and NDF.
    assert remarks(life(bench.season, sample)[-1]) == ["blind-duplicate"] * 4
    assert not standing(bench.season, sample).on_hold


def test_a_blind_duplicate_too_far_away_puts_the_sample_on_hold(bench: Bench) -> None:
    code = blind_code(bench)
    sample = bench.samples[bench.codes.index(code)]
    taken_in(bench, written([row(code), row(code, CP_pc_DM="19.2")]))
    assert standing(bench.season, sample).holds[0].reason == (
        "Blind duplicate, CP: 18.6 and 19.2 differ by 0.6, beyond 0.56 (2.8 SD)."
    )


def test_only_the_code_that_the_run_scans_twice_may_come_twice_and_only_twice(bench: Bench) -> None:
    code = blind_code(bench)
    other = next(one for one in bench.codes if one != code)
    taken_in(bench, written([row(code), row(other), row(other), row(code), row(code)]))
    assert [(one.line, *why(one)) for one in parked(bench)] == [
        (4, "sample-twice-in-file"),
        (6, "sample-twice-in-file"),
    ]


def test_the_newest_run_with_a_sample_says_whether_it_is_scanned_twice(bench: Bench) -> None:
    code = blind_code(bench)
    other_seed = next(
        seed
        for seed in range(2, 50)
        if code
        not in {one["code"] for one in run_made(bench, seed=seed).rows if one["kind"] == "blind duplicate"}
    )
    assert other_seed
    taken_in(bench, written([row(code), row(code)]))
    assert why(parked(bench)[0]) == ["sample-twice-in-file"]
