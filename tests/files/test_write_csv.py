"""CSV that leaves the programme."""

from __future__ import annotations

import csv
import io
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.files.out import guarded, write_csv


def test_quotes_are_doubled_and_cells_with_commas_are_quoted() -> None:
    # RFC 4180, section 2, rules 6 and 7.
    assert write_csv([["aaa", 'b"bb', "c,cc"]]) == b'aaa,"b""bb","c,cc"\r\n'


def test_a_line_break_inside_a_cell_is_quoted() -> None:
    # RFC 4180, section 2, rule 6: "aaa","b CRLF bb","ccc".
    assert write_csv([["aaa", "b\r\nbb", "ccc"]]) == b'aaa,"b\r\nbb",ccc\r\n'


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", "\x00x", " =1+1", '=cmd|"x"!A1']
)
def test_text_that_a_spreadsheet_would_calculate_goes_behind_a_quote(text: str) -> None:
    # OWASP ASVS 5.0.0, 1.2.10.
    assert guarded(text) == "'" + text


def test_a_negative_number_stays_a_number() -> None:
    assert write_csv([["bias"], [Decimal("-0.30")], [-3]]) == b"bias\r\n-0.30\r\n-3\r\n"


def test_nothing_and_dates_are_written_plainly() -> None:
    assert write_csv([["a", "b"], [None, date(2026, 6, 14)]]) == b"a,b\r\n,2026-06-14\r\n"


def test_a_tiny_decimal_is_written_without_exponent() -> None:
    assert write_csv([[Decimal("1E-7")]]) == b"0.0000001\r\n"


def test_a_byte_order_mark_comes_only_on_request() -> None:
    assert write_csv([["a"]]) == b"a\r\n"
    assert write_csv([["a"]], mark=True) == b"\xef\xbb\xbfa\r\n"


def test_rows_of_different_length_are_a_mistake_of_ours() -> None:
    with pytest.raises(ValueError, match="1 cells among rows of 2"):
        write_csv([["a", "b"], ["c"]])


def test_a_float_has_no_agreed_digits_and_is_not_written() -> None:
    with pytest.raises(TypeError, match="float"):
        write_csv([[0.1]])


@given(
    st.lists(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=2, max_size=2), min_size=1)
)
def test_what_is_written_reads_back_as_the_guarded_text(rows: list[list[str]]) -> None:
    text = write_csv(rows).decode()
    back = list(csv.reader(io.StringIO(text.replace("\x00", "\ufffd"), newline=""), strict=True))
    assert back == [[guarded(cell).replace("\x00", "\ufffd") for cell in row] for row in rows]
