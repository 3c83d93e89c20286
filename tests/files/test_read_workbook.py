"""XLSX as people send it, and as people with bad intent would."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from tracker.errors import Refused
from tracker.files import workbook
from tracker.files.table import Table
from tracker.files.table_file import read_table


def saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def make_workbook(rows: Iterable[Iterable[Any]]) -> Workbook:
    book = Workbook()
    for row in rows:
        book.active.append(list(row))
    return book


def read(book: Workbook, **asked: Any) -> Table:
    return read_table("run.xlsx", saved(book), **asked)


def code_of(data: bytes, **asked: Any) -> str:
    with pytest.raises(Refused) as caught:
        read_table("run.xlsx", data, **asked)
    return caught.value.code


def changed(data: bytes, part: str, replacing: bytes, by: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            content = old.read(info)
            if info.filename == part:
                assert replacing in content
                content = content.replace(replacing, by)
            new.writestr(info.filename, content)
    return out.getvalue()


PLAIN = [["Sample", "CP", "When"], ["A1", 8.6, date(2026, 6, 14)], ["A2", 9, None]]


def test_cells_become_the_text_a_person_sees() -> None:
    table = read(make_workbook(PLAIN))
    assert (table.kind, table.header) == ("xlsx", ("Sample", "CP", "When"))
    assert [(row.line, row.cells) for row in table.rows] == [
        (2, ("A1", "8.6", "2026-06-14")),
        (3, ("A2", "9", "")),
    ]
    assert not any(row.problem for row in table.rows)


def test_the_noise_of_a_calculation_is_taken_off_and_noted() -> None:
    data = saved(make_workbook([["a"], [0.3], [1e-5], [12345678.5]]))
    # 0.1 + 0.2 in binary (IEEE 754), as a program writes it that keeps all 17 digits.
    data = changed(data, "xl/worksheets/sheet1.xml", b"<v>0.3</v>", b"<v>0.30000000000000004</v>")
    table = read_table("run.xlsx", data)
    assert [row.cells for row in table.rows] == [("0.3",), ("0.00001",), ("12345678.5",)]
    assert len(table.notes) == 1 and "Line 2" in table.notes[0]


def test_a_percentage_is_read_as_it_is_shown() -> None:
    book = make_workbook([["CP"], [0.105], [0.105]])
    book.active["A2"].number_format = "0.0%"
    assert [row.cells for row in read(book).rows] == [("10.5%",), ("0.105",)]


def test_a_moment_is_written_in_iso_form_to_the_second() -> None:
    shown = datetime(2026, 6, 14, 9, 10, 5)  # noqa: DTZ001 - a sheet knows no offset
    table = read(make_workbook([["when"], [shown]]))
    assert table.rows[0].cells == ("2026-06-14T09:10:05",)


def test_a_formula_spoils_its_row_and_is_not_calculated() -> None:
    table = read(make_workbook([["a", "b"], [1, "=A2*2"], [3, 4]]))
    assert table.rows[0].problem is not None and table.rows[0].problem.code == "formula-cell"
    assert table.rows[0].cells == ("1", "=A2*2")
    assert table.rows[1].problem is None


def test_an_error_in_a_cell_spoils_its_row() -> None:
    book = make_workbook([["a"], ["#DIV/0!"]])
    book.active["A2"].data_type = "e"
    problem = read(book).rows[0].problem
    assert problem is not None and problem.code == "error-cell"


def test_the_first_visible_sheet_is_read_and_the_hidden_one_named() -> None:
    book = make_workbook([["old"], ["x"]])
    book.active.title = "Old"
    book.active.sheet_state = "hidden"
    book.create_sheet("Run 7").append(["Sample"])
    book["Run 7"].append(["A1"])
    book.active = book["Run 7"]
    table = read(book)
    assert table.header == ("Sample",)
    assert table.notes == ("Hidden sheets were not read: Old.",)
    assert read(book, sheet="Old").header == ("old",)
    assert code_of(saved(book), sheet="Run 8") == "no-such-sheet"


def test_blank_rows_are_passed_over_and_lines_stay_those_of_the_sheet() -> None:
    book = make_workbook([["a", "b"], [1, 2]])
    book.active.cell(row=900, column=1, value=3)
    book.active.cell(row=900, column=2, value=4)
    assert [row.line for row in read(book).rows] == [2, 900]


def test_an_archive_that_swells_is_refused_before_it_is_unpacked() -> None:
    # OWASP ASVS 5.0.0, 5.2.3. 64 MB of blanks pack into about 64 kB.
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b" " * 64_000_000)
    assert len(out.getvalue()) < 100_000
    assert code_of(out.getvalue()) == "unpacks-too-large"


def test_an_archive_of_too_many_parts_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook, "MOST_PARTS", 3)
    assert code_of(saved(make_workbook(PLAIN))) == "unpacks-too-large"


def test_a_document_type_in_any_part_is_refused() -> None:
    # OWASP ASVS 5.0.0, 1.5.1: entities that multiply, and entities that fetch files.
    bomb = b'<!DOCTYPE lol [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><worksheet '
    data = changed(saved(make_workbook(PLAIN)), "xl/worksheets/sheet1.xml", b"<worksheet ", bomb)
    assert code_of(data) == "not-a-table"


def test_a_row_number_beyond_any_sheet_is_refused() -> None:
    data = changed(
        saved(make_workbook(PLAIN)), "xl/worksheets/sheet1.xml", b'<row r="3"', b'<row r="99999999999"'
    )
    assert code_of(data) == "not-a-table"


def test_a_zip_that_is_no_workbook_is_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("readme.txt", "hello")
    assert code_of(out.getvalue()) == "not-a-table"


def test_a_workbook_cut_short_is_refused() -> None:
    data = saved(make_workbook(PLAIN))
    assert code_of(data[: len(data) // 2]) == "not-a-table"


GOOD = saved(make_workbook(PLAIN))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, len(GOOD) - 1), st.binary(min_size=1, max_size=4))
def test_a_damaged_workbook_is_read_or_refused_and_nothing_else(place: int, by: bytes) -> None:
    try:
        table = read_table("run.xlsx", GOOD[:place] + by + GOOD[place + len(by) :])
    except Refused as refused:
        assert refused.code
    else:
        assert table.header


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2000), st.text("<>&;=\"'!abc /r1", min_size=1, max_size=8))
def test_a_workbook_with_spoiled_xml_is_read_or_refused_and_nothing_else(place: int, by: str) -> None:
    with zipfile.ZipFile(io.BytesIO(GOOD)) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml")
    place %= len(sheet)
    data = changed(GOOD, "xl/worksheets/sheet1.xml", sheet, sheet[:place] + by.encode() + sheet[place:])
    try:
        table = read_table("run.xlsx", data)
    except Refused as refused:
        assert refused.code
    else:
        assert table.header
