"""What is kept comes back as it was: digits, moments, plain values."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import MetaData, create_engine, insert, select, text
from sqlalchemy.dialects.sqlite import dialect
from sqlalchemy.exc import StatementError
from sqlalchemy.schema import Column, Table

from tracker.storage.base import Digits, Plain, Utc, canonical

SQLITE = dialect()
KEPT = Table("kept", MetaData(), Column("digits", Digits), Column("at", Utc), Column("plain", Plain))
WITHOUT_FLOATS = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(),
    lambda part: st.lists(part, max_size=3) | st.dictionaries(st.text(), part, max_size=3),
    max_leaves=10,
)


def stored(column: str, value: Any) -> tuple[Any, Any]:
    """The value as it comes back, and the text or number that the file holds."""
    engine = create_engine("sqlite://")
    with engine.begin() as connection:
        KEPT.create(connection)
        connection.execute(insert(KEPT).values({column: value}))
        back = connection.scalar(select(KEPT.c[column]))
        raw = connection.scalar(text(f"select {column} from kept"))
    engine.dispose()
    return back, raw


@pytest.mark.parametrize("shown", ["250.0", "0.10", "250", "-0.5", "0.000001", "99999.999999"])
def test_a_weight_keeps_the_digits_the_balance_showed(shown: str) -> None:
    back, raw = stored("digits", Decimal(shown))
    assert (str(back), raw) == (shown, shown)


def test_a_power_of_ten_is_written_out() -> None:
    back, raw = stored("digits", Decimal("1E+2"))
    assert raw == "100"
    assert back == Decimal(100)


@pytest.mark.parametrize(
    "value", [250.0, 250, "250.0", True, Decimal("NaN"), Decimal("sNaN"), Decimal("Infinity")], ids=repr
)
def test_what_is_not_a_finite_decimal_is_not_kept_as_one(value: object) -> None:
    with pytest.raises(StatementError, match="finite Decimal"):
        stored("digits", value)


@pytest.mark.parametrize("column", ["digits", "at", "plain"])
def test_nothing_is_kept_as_nothing(column: str) -> None:
    assert stored(column, None) == (None, None)


@given(st.decimals(allow_nan=False, allow_infinity=False, places=6, min_value=-(10**9), max_value=10**9))
def test_every_decimal_comes_back_with_its_digits(value: Decimal) -> None:
    column = Digits()
    written = column.process_bind_param(value, SQLITE)
    back = column.process_result_value(written, SQLITE)
    assert back is not None
    assert back.as_tuple() == value.as_tuple()


def test_a_moment_is_kept_in_utc() -> None:
    written = datetime(2026, 6, 14, 9, 10, 30, 250_000, tzinfo=timezone(timedelta(hours=-5)))
    back, raw = stored("at", written)
    assert back == written
    assert back.tzinfo is UTC
    assert raw == "2026-06-14 14:10:30.250000"


def test_a_moment_without_an_offset_is_not_kept() -> None:
    with pytest.raises(StatementError, match="without an offset"):
        stored("at", datetime(2026, 6, 14, 9, 10))  # noqa: DTZ001


@given(st.datetimes(min_value=datetime(1900, 1, 2), max_value=datetime(2200, 1, 1)), st.integers(-720, 840))  # noqa: DTZ001
def test_every_moment_comes_back_as_the_same_instant(local: datetime, minutes: int) -> None:
    when = local.replace(tzinfo=timezone(timedelta(minutes=minutes)))
    column = Utc()
    assert column.process_result_value(column.process_bind_param(when, SQLITE), SQLITE) == when


def test_plain_values_are_one_text_with_sorted_names_and_no_spaces() -> None:
    back, raw = stored("plain", {"seal": "S-004417", "cores": 20, "who": "Ørjan", "deviations": ["a", None]})
    assert raw == '{"cores":20,"deviations":["a",null],"seal":"S-004417","who":"Ørjan"}'
    assert back == {"cores": 20, "deviations": ["a", None], "seal": "S-004417", "who": "Ørjan"}


@pytest.mark.parametrize("value", [1.5, {"grams": 1.5}, [1, [2.0]], {"a": ({"b": float("nan")},)}], ids=repr)
def test_a_float_is_refused_however_deep_it_lies(value: object) -> None:
    with pytest.raises(TypeError, match="kept as text"):
        canonical(value)
    with pytest.raises(StatementError, match="kept as text"):
        stored("plain", value)


def test_a_decimal_is_not_plain_until_it_is_text() -> None:
    with pytest.raises(TypeError):
        canonical({"grams": Decimal("250.0")})


@given(WITHOUT_FLOATS)
def test_plain_values_come_back_and_have_one_text(value: Any) -> None:
    column = Plain()
    written = column.process_bind_param(value, SQLITE)
    back = column.process_result_value(written, SQLITE)
    assert back == value
    assert column.process_bind_param(back, SQLITE) == written


@given(st.dictionaries(st.text(), st.integers(), min_size=2))
def test_the_order_names_were_given_in_does_not_matter(value: dict[str, int]) -> None:
    assert canonical(dict(reversed(value.items()))) == canonical(value)
