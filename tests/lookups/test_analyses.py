"""A sample's analyses, each as its source gave it."""

from __future__ import annotations

from decimal import Decimal

from tests.makers import act, done
from tests.result_files import NIR, WET, Bench, row, taken_in, wet_row, wet_written, written
from tracker.lookups.analyses import AnalysisLine, Given, analyses_of
from tracker.steps.choose_analysis import choose_analysis


def analyses(bench: Bench, number: int = 0) -> tuple[AnalysisLine, ...]:
    with bench.season.read() as session:
        return analyses_of(session, bench.samples[number].id)


def test_a_sample_that_nobody_analysed_has_none(bench: Bench) -> None:
    taken_in(bench, written([row(bench.codes[1])]))
    assert analyses(bench) == ()


def test_an_analysis_names_source_file_line_and_time(bench: Bench) -> None:
    taken_in(bench, written([row(bench.codes[1]), row(bench.codes[0])]), name="run-21.csv")
    (line,) = analyses(bench)
    assert (line.source, line.file, line.line) == (NIR, "run-21.csv", 3)
    assert line.scanned_at == "2026-06-21T06:30:00-05:00"
    assert line.remarks == ()


def test_each_value_stands_as_it_was_given_in_its_own_unit_and_basis(bench: Bench) -> None:
    taken_in(bench, wet_written([wet_row(bench.codes[0], NO3="<450")]), source=WET)
    (line,) = analyses(bench)
    assert line.values == (
        Given("DM", Decimal("90.0"), "%", "as received", "wet chemistry", "", ""),
        Given("CP", Decimal("180"), "g/kg", "as received", "wet chemistry", "", ""),
        Given("NDF", Decimal("36.0"), "%", "as received", "wet chemistry", "", ""),
        Given("NO3-N", Decimal("450"), "mg/kg", "as received", "wet chemistry", "", "<"),
    )
    assert [str(value.value) for value in line.values] == ["90.0", "180", "36.0", "450"]
    assert line.scanned_at is None


def test_the_newest_stands_first_until_another_is_chosen(bench: Bench) -> None:
    code = bench.codes[0]
    taken_in(bench, written([row(code)]), name="run.csv")
    taken_in(bench, wet_written([wet_row(code)]), source=WET, name="wet.csv")
    assert [line.file for line in analyses(bench)] == ["wet.csv", "run.csv"]
    assert analyses(bench)[0].remarks[0].startswith("Analysis 1 measured CP, NDF already.")
    scan = analyses(bench)[1].id
    sample = bench.samples[0]
    done(bench.season, lambda s: choose_analysis(s, sample, scan, act(s, "ana", 1450), reason="ours"))
    assert [line.file for line in analyses(bench)] == ["run.csv", "wet.csv"]
