"""Numbers as typed: strict, and with their digits."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.units import (
    CUBIC_INCHES_PER_CUBIC_FOOT,
    GRAMS_PER_POUND,
    MM_PER_INCH,
    grams,
    last_place,
    number,
    percent,
    positive,
    short_tons,
    to_places,
    to_places_even,
    unit_hint,
    whole,
)
from tracker.errors import Refused


def refused(parse: Callable[..., Any], text: Any, **more: Any) -> Refused:
    with pytest.raises(Refused) as caught:
        parse(text, field="weight", **more)
    assert caught.value.field == "weight" and caught.value.remedy
    return caught.value


@given(st.decimals(-999_999_999, 999_999_999, places=3, allow_nan=False, allow_infinity=False))
def test_every_plain_number_is_read_with_the_digits_it_was_written_with(value: D) -> None:
    assert str(number(f"{value:f}", field="weight")) == f"{value:f}"


def test_the_trailing_zero_of_a_balance_is_kept() -> None:
    assert str(number(" 250.0 ", field="weight")) == "250.0"
    assert number("+12.5", field="weight") == D("12.5")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1e3",
        "1E-2",
        "NaN",
        "inf",
        "-Infinity",
        "1_000",
        "1,000.5",
        "0x10",
        ".5",
        "5.",
        "--5",
        "5 g",
        "1 049.9",
    ],
)
def test_what_is_not_plain_digits_is_refused(text: str) -> None:
    assert refused(number, text).code == "not-a-number"
    assert repr(text) in refused(number, text).message


@pytest.mark.parametrize("text", ["٢٥٠", "２５０", "250²"])
def test_digits_of_other_scripts_are_refused_though_python_reads_them(text: str) -> None:
    assert refused(number, text).code == "not-a-number"


def test_a_decimal_comma_is_refused_with_the_point_written_out() -> None:
    assert "49.90" in refused(number, "49,90").remedy


@pytest.mark.parametrize("value", [250.0, True, float("nan")])
def test_a_float_has_lost_its_digits_and_is_a_mistake_in_the_program(value: float) -> None:
    with pytest.raises(TypeError):
        number(value, field="weight")  # type: ignore[arg-type]


@given(st.text(max_size=12))
def test_any_text_is_either_a_finite_number_or_refused(text: str) -> None:
    try:
        value = number(text, field="weight")
    except Refused:
        return
    assert value.is_finite() and abs(value) < 10**9


def test_zero_is_never_a_weight_and_neither_is_a_tag_code() -> None:
    assert refused(grams, "0").code == refused(grams, "-12.31").code == "not-a-weight"
    assert refused(grams, "100000").code == "not-a-weight"
    assert str(grams("99999.9", field="weight")) == "99999.9"
    assert str(grams("0.1", field="weight")) == "0.1"


def test_a_percentage_lies_within_0_and_100() -> None:
    assert [percent(text, field="x") for text in ("0", "100", "100.0")] == [0, 100, 100]
    assert refused(percent, "100.01").code == refused(percent, "-0.1").code == "not-a-percentage"


def test_above_zero_means_above_zero() -> None:
    assert positive("0.001", field="x") == D("0.001")
    assert refused(positive, "0.0").code == "not-positive"


@pytest.mark.parametrize("text", ["-1", "2.0", "", "one", "+3", "1234567890", "٣"])
def test_a_count_is_digits_only(text: str) -> None:
    assert refused(whole, text).code == "not-a-count"


def test_a_count_may_have_a_least_value() -> None:
    assert whole("20", field="cores") == whole(20, field="cores", least=20) == 20
    assert refused(whole, "19", least=20).code == "not-a-count"
    with pytest.raises(TypeError):
        whole(True, field="cores")


def test_tables_round_half_up() -> None:
    # Common practice; worked by hand.
    assert to_places(D("178.5"), 0) == 179
    assert to_places(D("-0.25"), 1) == D("-0.3")
    assert to_places_even(D("178.5"), 0) == 178
    assert to_places_even(D("179.5"), 0) == 180


@given(st.decimals(-10_000, 10_000, places=5), st.integers(0, 3))
def test_rounding_moves_a_value_by_half_a_last_place_at_most(value: D, places: int) -> None:
    for rounded in (to_places(value, places), to_places_even(value, places)):
        assert abs(rounded - value) <= last_place(rounded) / 2
        assert last_place(rounded) == D(10) ** -places


@pytest.mark.parametrize(("text", "place"), [("250.0", "0.1"), ("250", "1"), ("0.050", "0.001")])
def test_the_last_digit_shown_is_the_resolution(text: str, place: str) -> None:
    assert last_place(D(text)) == D(place)


def test_the_exact_units_are_exact() -> None:
    # NIST Special Publication 811, appendix B: 1 lb = 0.453 592 37 kg, 1 in = 25.4 mm, 1 short ton = 2000 lb.
    assert Fraction(GRAMS_PER_POUND) == Fraction(45359237, 100000)
    assert Fraction(MM_PER_INCH) == Fraction(127, 5)
    assert CUBIC_INCHES_PER_CUBIC_FOOT == 12**3
    assert short_tons(D(1000)) == D("0.5")


@pytest.mark.parametrize(
    ("unit", "hint"), [("gm", "g"), ("lbs", "[lb_av]"), ("Kg", "kg"), ("pct", "%"), ("F", "[degF]")]
)
def test_a_unit_in_loose_spelling_is_hinted_at_in_ucum(unit: str, hint: str) -> None:
    assert unit_hint(unit) == hint


def test_a_unit_already_in_ucum_needs_no_hint() -> None:
    assert [unit_hint(unit) for unit in ("g", "kg", "%", "[lb_av]", "Cel")] == [None] * 5
