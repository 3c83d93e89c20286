"""Results from a table."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.errors import Refused
from tracker.files.column_map import load_column_map
from tracker.files.results_file import ReportedValue, ResultRow, each_result, read_results, suggest_codes
from tracker.files.table import Row, Table
from tracker.files.table_file import read_table

CP = {
    "header": "CP",
    "constituent": "CP",
    "unit": "%",
    "basis": "dry matter",
    "method": "NIR",
    "calibration": "Hay 7",
}
NDF = {"header": "NDF", "constituent": "NDF", "unit": "g/kg", "basis": "as received"}


def rows(*lines: str, header: str = "Sample;When;CP;NDF", **changes: Any) -> tuple[ResultRow, ...]:
    mapped = {"sample": "Sample", "scanned_at": "When", "columns": [CP, NDF], "time_zone_offset": "-05:00"}
    data = "\n".join((header, *lines)) + "\n"
    return read_results(read_table("run.csv", data.encode()), load_column_map({**mapped, **changes}))


def one(line: str, **changes: Any) -> ResultRow:
    (row,) = rows(line, **changes)
    return row


def test_a_good_row_carries_each_value_with_what_it_rests_on() -> None:
    row = one("A1;2026-06-14 09:10;8.60;571")
    assert row == ResultRow(
        line=2,
        sample_text="A1",
        scanned_at="2026-06-14T09:10:00-05:00",
        values=(
            ReportedValue("CP", Decimal("8.60"), "%", "dry matter", "NIR", "Hay 7"),
            ReportedValue("NDF", Decimal(571), "g/kg", "as received", "", ""),
        ),
        problems=(),
        cells=("A1", "2026-06-14 09:10", "8.60", "571"),
    )
    assert str(row.values[0].value) == "8.60"


@pytest.mark.parametrize("cell", ["", "-", " ", "–"])
def test_an_empty_cell_or_a_dash_is_not_measured_and_never_zero(cell: str) -> None:
    row = one(f"A1;;{cell};571")
    assert [value.constituent for value in row.values] == ["NDF"]
    assert row.problems == () and row.scanned_at is None


def test_below_the_limit_is_kept_as_such() -> None:
    row = one("A1;;<5.5;571")
    assert (row.values[0].value, row.values[0].qualifier) == (Decimal("5.5"), "<")


def test_a_percent_sign_in_a_column_of_percent_is_read() -> None:
    assert one("A1;;8.6 %;571").values[0].value == Decimal("8.6")
    assert one("A1;;8.6;571 %").problems[0].code == "not-a-number"


def test_a_decimal_comma_is_read_where_the_map_says_so_and_nowhere_else() -> None:
    assert one("A1;;8,6;571", decimal=",").values[0].value == Decimal("8.6")
    problem = one("A1;;8,6;571").problems[0]
    assert (problem.code, problem.field) == ("not-a-number", "CP")
    assert problem.suggestion.startswith("Did you mean 8.6?")
    assert one("A1;;8.6;571", decimal=",").problems[0].suggestion.startswith("Did you mean 8,6?")


@pytest.mark.parametrize(
    "cell", ["nan", "inf", "1e1", "1_0", "8.6.1", "٨", "eight", "<", "<<5", "> 5", "8.", ".8"]
)
def test_what_a_lenient_reader_would_take_for_a_number_is_not_one(cell: str) -> None:
    assert one(f"A1;;{cell};571").problems[0].code == "not-a-number"


def test_a_letter_typed_for_a_digit_is_offered_back_and_not_repaired() -> None:
    row = one("A1;;1O.5;571")
    assert "10.5" in row.problems[0].suggestion
    assert [value.constituent for value in row.values] == ["NDF"]


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("0.105", "0.105 looks like a fraction; did you mean 10.5 %?"),
        ("105", "105 looks like g/kg, or has lost its decimal mark; did you mean 10.5 %?"),
        ("-10.5", "did you mean 10.5 %?"),
        ("105000", "105000 looks like ppm; did you mean 10.5 %?"),
    ],
)
def test_an_implausible_value_is_parked_with_the_likely_repair(cell: str, words: str) -> None:
    row = one(f"A1;;{cell};571")
    (problem,) = row.problems
    assert (problem.code, problem.field) == ("implausible-value", "CP")
    assert words in problem.suggestion
    assert row.cells == ("A1", "", cell, "571")
    assert "CP" not in [value.constituent for value in row.values]


def test_the_repair_is_written_with_the_files_own_decimal_mark() -> None:
    assert "10,5 %" in one("A1;;0,105;571", decimal=",").problems[0].suggestion


def test_limits_are_those_of_the_columns_own_unit() -> None:
    assert one("A1;;8.6;571").problems == ()
    assert one("A1;;8.6;57.1").problems[0].field == "NDF"


def test_a_row_without_sample_or_without_any_value_is_a_problem() -> None:
    assert one(" ;;8.6;571").problems[0].code == "sample-missing"
    assert one("A1;;-;").problems[0].code == "nothing-measured"


@pytest.mark.parametrize(
    ("cell", "kept"),
    [
        ("2026-06-14T09:10:05-06:00", "2026-06-14T09:10:05-06:00"),
        ("2026-06-14T14:10:05Z", "2026-06-14T14:10:05+00:00"),
        ("2026-06-14 09:10:05", "2026-06-14T09:10:05-05:00"),
    ],
)
def test_a_time_keeps_its_own_offset_or_takes_the_maps(cell: str, kept: str) -> None:
    assert one(f"A1;{cell};8.6;571").scanned_at == kept


@pytest.mark.parametrize("cell", ["6/14/2026 9:10", "2026-06-14", "2026-02-30 09:10", "noon"])
def test_a_time_that_could_be_read_two_ways_is_a_problem(cell: str) -> None:
    row = one(f"A1;{cell};8.6;571")
    assert row.scanned_at is None
    assert (row.problems[0].code, row.problems[0].field) == ("not-a-time", "When")


def test_a_time_without_offset_is_a_problem_when_the_map_has_none() -> None:
    problem = one("A1;2026-06-14 09:10;8.6;571", time_zone_offset=None).problems[0]
    assert problem.code == "not-a-time" and "time zone" in problem.suggestion


def test_rows_that_the_table_could_not_read_come_through_with_their_problem() -> None:
    good, short, formula = rows("A1;;8.6;571", "A2;;8.6", "A3;;=1+1;571")
    assert good.problems == ()
    assert (short.line, short.problems[0].code, short.sample_text) == (3, "row-too-short", "A2")
    assert (formula.problems[0].code, formula.values) == ("formula-cell", ())


def test_another_format_is_refused_before_the_first_row_is_asked_for() -> None:
    mapped = load_column_map({"sample": "Sample", "columns": [CP]})
    with pytest.raises(Refused):
        each_result(read_table("run.csv", b"Sample,NDF\nA1,57\n"), mapped)


def test_a_repeat_is_read_from_its_column() -> None:
    row = one("A1;;8.6;571;2", header="Sample;When;CP;NDF;Rep", repeat="Rep")
    assert row.repeat == "2"


def test_a_file_of_another_format_is_refused_whole() -> None:
    with pytest.raises(Refused, match="lacks NDF"):
        rows("A1;;8.6;571", header="Sample;When;CP;NDF48")


@given(st.text(max_size=12), st.text(max_size=12), st.text(max_size=12))
def test_any_cells_are_results_or_problems_and_nothing_else(sample: str, when: str, value: str) -> None:
    table = Table("t", "", "csv", "utf-8", ";", ("Sample", "When", "CP"), (Row(2, (sample, when, value)),))
    mapped = load_column_map({"sample": "Sample", "scanned_at": "When", "columns": [CP]})
    (row,) = read_results(table, mapped)
    assert row.problems or (row.values and row.sample_text)
    assert all(2 <= reported.value <= 100 for reported in row.values)


# Codes with their check characters by ISO/IEC 7064 MOD 37,36.
CODE, OTHER = "7K2M9QXQ", "3R71XZ15"


def test_a_code_with_one_wrong_character_or_two_swapped_is_offered_if_it_is_known() -> None:
    assert suggest_codes("7K2N9QXQ", {CODE, OTHER}) == (CODE,)
    assert suggest_codes("k72m9qxq", {CODE}.__contains__) == (CODE,)
    assert suggest_codes("7K2N9QXQ", {OTHER}) == ()


@pytest.mark.parametrize("text", ["", "  ", "x" * 41, "North field"])
def test_text_far_from_any_code_gets_no_suggestion(text: str) -> None:
    assert suggest_codes(text, {CODE}) == ()


def test_no_more_than_five_codes_are_offered() -> None:
    assert len(suggest_codes("7K2M9QX0", lambda code: True)) == 5
