"""CSV as people send it, down to its bytes."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.errors import Refused
from tracker.files import table, table_file
from tracker.files.out import guarded, write_csv
from tracker.files.table import looks_like_formula
from tracker.files.table_file import read_table


def cells(data: bytes) -> list[tuple[str, ...]]:
    return [row.cells for row in read_table("r.csv", data).rows]


def refusal(data: bytes, name: str = "r.csv") -> str:
    with pytest.raises(Refused) as caught:
        read_table(name, data)
    assert caught.value.remedy
    return caught.value.code


def test_a_plain_file_is_read_with_its_hash_and_line_numbers() -> None:
    data = b"Sample,CP\r\nA1,8.60\r\nA2,9.1\r\n"
    table = read_table("C:\\lab\\run.csv", data)
    assert table.name == "run.csv"
    assert table.sha256 == hashlib.sha256(data).hexdigest()
    assert (table.kind, table.encoding, table.delimiter, table.notes) == ("csv", "utf-8", ",", ())
    assert table.header == ("Sample", "CP")
    assert [(row.line, row.cells) for row in table.rows] == [(2, ("A1", "8.60")), (3, ("A2", "9.1"))]


def test_quoting_follows_the_published_examples() -> None:
    # RFC 4180 (2005), section 2, rules 5 to 7.
    assert cells(b'h1,h2,h3\r\n"aaa","b\r\nbb","ccc"\r\n') == [("aaa", "b\r\nbb", "ccc")]
    assert cells(b'h1,h2,h3\r\n"aaa","b""bb","ccc"\r\n') == [("aaa", 'b"bb', "ccc")]
    assert cells(b'h1,h2,h3\r\n"aaa","bbb","ccc"\r\nzzz,yyy,xxx\r\n') == [
        ("aaa", "bbb", "ccc"),
        ("zzz", "yyy", "xxx"),
    ]


def test_a_row_is_known_by_the_line_it_begins_on_even_after_a_cell_of_three_lines() -> None:
    table = read_table("r.csv", b'a,b\n1,"x\ny\nz"\n\n2,w\n')
    assert [row.line for row in table.rows] == [2, 6]


@pytest.mark.parametrize(
    ("encoding", "mark", "said"),
    [
        ("utf-8", b"", "utf-8"),
        ("utf-8", b"\xef\xbb\xbf", "utf-8"),
        ("utf-16-le", b"\xff\xfe", "utf-16"),
        ("utf-16-be", b"\xfe\xff", "utf-16"),
    ],
)
def test_unicode_is_read_with_and_without_mark(encoding: str, mark: bytes, said: str) -> None:
    table = read_table("r.csv", mark + "Sample,Champ\nA1,Pré\n".encode(encoding))
    assert table.header == ("Sample", "Champ")
    assert table.rows[0].cells == ("A1", "Pré")
    assert table.encoding == said


def test_bytes_that_are_not_unicode_are_read_as_latin_and_that_is_noted() -> None:
    table = read_table("r.csv", "Sample,Note\nA1,Pré – 5 °C\n".encode("cp1252"))
    assert table.rows[0].cells == ("A1", "Pré – 5 °C")
    assert table.encoding == "cp1252"
    assert "Windows-1252" in table.notes[0]


@pytest.mark.parametrize(
    ("data", "delimiter", "first"),
    [
        (b"Sample;CP\nA1;8,6\n", ";", ("A1", "8,6")),
        (b"Sample\tCP\nA1\t8,6\n", "\t", ("A1", "8,6")),
        (b"Sample;CP, % DM;ADF, % DM\nA1;8,6;33,1\n", ";", ("A1", "8,6", "33,1")),
        (b'Sample,"Note; place",CP\nA1,x,8.6\n', ",", ("A1", "x", "8.6")),
        (b"Sample,Note,CP\nA1,a;b;c;d,8.6\nA2,,9\n", ",", ("A1", "a;b;c;d", "8.6")),
        (b"sep=;\r\nSample;CP\r\nA1;8,6\r\n", ";", ("A1", "8,6")),
        (b"Sample\nA1\n", ",", ("A1",)),
    ],
)
def test_the_delimiter_is_found_from_header_and_rows(data: bytes, delimiter: str, first: tuple[str]) -> None:
    table = read_table("r.csv", data)
    assert table.delimiter == delimiter
    assert table.rows[0].cells == first


def test_a_stated_delimiter_keeps_the_line_numbers_of_the_file() -> None:
    assert read_table("r.csv", b"sep=;\nSample;CP\nA1;8,6\n").rows[0].line == 3


@pytest.mark.parametrize("data", [b"", b"\n\r\n", b"\xef\xbb\xbf", b"\xff\xfe", b"   ", b",,\n,,\n"])
def test_an_empty_file_is_refused(data: bytes) -> None:
    assert refusal(data) in ("file-empty", "header-empty", "no-rows")


def test_a_header_without_rows_is_refused() -> None:
    assert refusal(b"Sample,CP\n") == "no-rows"


def test_a_header_that_names_a_column_twice_is_refused_whatever_its_case() -> None:
    assert refusal(b"Sample,CP,cp \n1,2,3\n") == "header-twice"


def test_a_column_without_a_name_is_refused_but_trailing_delimiters_are_not() -> None:
    assert refusal(b"Sample,,CP\n1,2,3\n") == "header-empty"
    assert read_table("r.csv", b"Sample,CP,,\nA1,8.6,,\n").rows[0].problem is None


@pytest.mark.parametrize(
    "data",
    [
        b"\x89PNG\r\n\x1a\n\x00\x00",
        b"%PDF-1.7 a,b\n1,2\n",
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
        b"PK\x03\x04rest",
        b"a,b\n1,\x002\n",
        b"a,b\n1,\x812\n",
        "a,b\n1,2\n".encode("utf-16-le"),
        b"\xff\xfea",
        b"<!DOCTYPE html><table><tr><td>a",
        b'{"a": 1, "b": 2}',
        b"a,b\n1,\x01\n",
    ],
)
def test_what_is_not_a_table_is_refused_by_its_content(data: bytes) -> None:
    # OWASP ASVS 5.0.0, 5.2.2.
    assert refusal(data) == "not-a-table"


def test_text_under_a_workbooks_name_is_refused() -> None:
    assert refusal(b"a,b\n1,2\n", "r.xlsx") == "not-a-table"


def test_a_file_too_large_is_refused_before_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table_file, "MOST_BYTES", 10)
    assert refusal(b"a,b\n1,2\n3,4\n") == "file-too-large"


def test_too_many_columns_or_rows_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    wide = ",".join(f"c{i}" for i in range(table.MOST_COLUMNS + 1)).encode()
    assert refusal(wide + b"\n" + wide) == "too-many-columns"
    monkeypatch.setattr(table, "MOST_ROWS", 2)
    assert refusal(b"a\n1\n2\n3\n") == "too-many-rows"


def problems(data: bytes) -> list[tuple[int, str | None]]:
    rows = read_table("r.csv", data).rows
    return [(row.line, row.problem.code if row.problem else None) for row in rows]


def test_a_row_with_the_wrong_number_of_cells_is_reported_with_its_line() -> None:
    data = b"a,b,c\n1,2,3\n1,2\n1,2,3,4\n1,2,3,\n"
    assert problems(data) == [(2, None), (3, "row-too-short"), (4, "row-too-long"), (5, None)]


def test_a_last_line_cut_off_is_reported_and_keeps_what_it_holds() -> None:
    table = read_table("r.csv", b"a,b,c\n1,2,3\n4,5")
    assert table.rows[1].cells == ("4", "5")
    assert table.rows[1].problem is not None and "cut off" in table.rows[1].problem.suggestion
    assert any("no line end" in note for note in table.notes)


def test_a_quote_never_closed_spoils_its_own_row_and_no_other() -> None:
    data = b'a,b\n1,x\n2,"y\n3,z\n4,w\n'
    assert problems(data) == [(2, None), (3, "broken-quotes"), (4, None), (5, None)]
    assert read_table("r.csv", data).rows[1].cells == ("2", '"y')


def test_a_last_line_cut_off_inside_quotes_is_reported() -> None:
    assert problems(b'a,b\n1,x\n2,"y') == [(2, None), (3, "broken-quotes")]


def test_text_after_a_closing_quote_is_reported() -> None:
    assert problems(b'a,b\n1,"5" bale\n2,y\n') == [(2, "broken-quotes"), (3, None)]


@pytest.mark.parametrize("cell", ["=1+1", "+cmd", "-x", "@SUM(A1)", " =A1", "-1-1", "=0.5"])
def test_a_cell_that_reads_like_a_formula_is_reported_and_kept_as_text(cell: str) -> None:
    table = read_table("r.csv", f"a,b\n{cell},2\n".encode())
    assert table.rows[0].problem is not None and table.rows[0].problem.code == "formula-cell"
    assert table.rows[0].cells == (cell, "2")


@pytest.mark.parametrize("cell", ["-0.3", "+1.5", "-0,3", "-", "--", "-5%", "-33.1, 151.2", "a=b", ""])
def test_signed_numbers_dashes_and_places_are_not_formulas(cell: str) -> None:
    assert not looks_like_formula(cell)


@settings(max_examples=200)
@given(st.binary(max_size=300))
def test_random_bytes_are_read_or_refused_and_nothing_else(data: bytes) -> None:
    for name in ("r.csv", "r.xlsx"):
        try:
            table = read_table(name, data)
        except Refused as refused:
            assert refused.code and refused.remedy
        else:
            assert table.rows


@settings(max_examples=200)
@given(st.text(alphabet='ab1,;\t"\n\r= -', max_size=120))
def test_any_text_is_read_or_refused_and_lines_rise(text: str) -> None:
    try:
        table = read_table("r.csv", text.encode())
    except Refused:
        return
    lines = [row.line for row in table.rows]
    assert lines == sorted(set(lines))
    assert all(row.problem or len(row.cells) == len(table.header) for row in table.rows)


@given(
    st.lists(
        st.tuples(st.text("abc,;\"\n '", max_size=6), st.text("xyz,\n", min_size=1, max_size=6)),
        min_size=1,
        max_size=6,
    )
)
def test_what_we_write_we_read_back(rows: list[tuple[str, str]]) -> None:
    table = read_table("r.csv", write_csv([("first", "second"), *rows]))
    assert [row.cells for row in table.rows] == [tuple(guarded(cell) for cell in row) for row in rows]
