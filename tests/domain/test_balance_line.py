"""Lines from a balance: read with their digits, held while unsteady, and otherwise refused by name."""

from __future__ import annotations

import random
import re
import string
import time
from collections.abc import Iterator
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from labels.payload import make_code, make_token
from tracker.domain.balance_line import Reading, read_line, settle
from tracker.domain.balance_profile import MOST_WAYS, PROFILES, Profile, check_pattern, profile_from
from tracker.errors import Refused


def refusal(raw: str, profile: str = "any") -> Refused:
    with pytest.raises(Refused) as caught:
        read_line(raw, PROFILES[profile])
    assert caught.value.field == "weight" and caught.value.remedy
    return caught.value


@pytest.mark.parametrize(
    ("raw", "profile", "shown", "step", "stable", "mode"),
    # Shapes of lines from the manuals of several unrelated makers.
    [
        ("ST,GS,+   49.90 g", "status comma mode", "49.90", "0.01", True, "gross"),
        ("US,GS,+   49.87 g", "status comma mode", "49.87", "0.01", False, "gross"),
        ("ST,NT,+   12.31 g", "status comma mode", "12.31", "0.01", True, "net"),
        ("ST,+00049.90  g", "status comma", "49.90", "0.01", True, None),
        ("+     49.90 g  ", "sign and number", "49.90", "0.01", None, None),
        ("      49,90 g", "sign and number", "49.90", "0.01", None, None),
        ("49.90", "number only", "49.90", "0.01", None, None),
        ("   49.90 g ?", "question mark", "49.90", "0.01", False, None),
        ("1 049.90 g", "sign and number", "1049.90", "0.01", None, None),
        ("0.0499 kg", "sign and number", "49.9", "0.1", None, None),
    ],
)
@pytest.mark.parametrize("any_shape", [True, False])
def test_a_line_gives_its_weight_with_the_digits_shown(
    raw: str, profile: str, shown: str, step: str, stable: bool | None, mode: str | None, any_shape: bool
) -> None:
    reading = read_line(raw, PROFILES["any" if any_shape else profile])
    assert (str(reading.grams), reading.step, reading.stable, reading.mode, reading.raw) == (
        shown,
        D(step),
        stable,
        mode,
        raw,
    )


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        ("ST,NT,-   12.31 g", "balance-negative"),
        ("OL,GS,+ 9999.99 g", "balance-overload"),
        ("OL,GS,+ 0.00 g", "balance-overload"),
        ("------", "balance-overload"),
        ("ST,GS,------ g", "balance-overload"),
        ("HHHH", "balance-overload"),
        ("Err 4", "balance-error"),
        ("LLLL", "balance-error"),
        ("1,049 g", "thousands-doubt"),
        ("1,049.90 g", "thousands-doubt"),
        ("1,049,900 g", "thousands-doubt"),
        ("49.9.0 g", "not-a-balance-line"),
        ("", "not-a-balance-line"),
        (" \r\n", "not-a-balance-line"),
        ("3R71XZ15", "code-in-weight"),
        ("3r71-xz15", "code-in-weight"),
        ("HTTPS://HAY.EXAMPLE.EDU/T/3R71XZ15", "code-in-weight"),
        ("4006381333931", "code-in-weight"),
        ("49.90 pcs", "balance-unit"),
        ("1.76 oz", "balance-unit"),
        ("0.11 lb", "balance-unit"),
        ("ST,GS,+ 0.00 g", "balance-zero"),
        ("9999999", "not-a-weight"),
        ("ZZ,GS,+ 49.90 g", "not-a-balance-line"),
        ("ST,ZZ,+ 49.90 g", "not-a-balance-line"),
        ("12     345.60 g", "not-a-balance-line"),
        ("+ 49.90 g" + " " * 80, "not-a-balance-line"),
        ("٤٩.٩٠ g", "not-a-balance-line"),
    ],
)
def test_a_line_that_is_no_weight_is_refused_by_name(raw: str, code: str) -> None:
    assert refusal(raw).code == code


def test_a_negative_weight_asks_whether_the_tare_was_left_on() -> None:
    assert "was the tare left on?" in refusal("ST,NT,-   12.31 g").message


@pytest.mark.parametrize(
    "typed",
    # 49.90 as keyboards of other countries type it, replayed through xkb-data 2.35.1: French, Dvorak.
    ["'ç:çà", "49v90"],
)
def test_what_a_wrong_keyboard_layout_has_mangled_is_refused(typed: str) -> None:
    assert refusal(typed).code == "not-a-balance-line"
    assert "country" in refusal(typed).remedy


@pytest.mark.parametrize(
    "start", ["HTTPS://HAY.EXAMPLE.EDU/T/", "HTTPSÑ--HAY.EXAMPLE.EDU-T-", "HTTPSÇ;;HAY.EXAMPLE.EDU;T;", ""]
)
def test_a_tag_scanned_into_the_weight_is_never_a_weight(start: str) -> None:
    rng = random.Random(20_260_614)
    for _ in range(200):
        # From memory of how scanners type: Caps Lock turns the case.
        assert refusal(start + make_code(rng)).code == "code-in-weight"
        assert refusal((start + make_code(rng)).lower()).code == "code-in-weight"
        assert refusal(start + make_token(rng)).code == "code-in-weight"


def test_a_declared_decimal_mark_ends_the_doubt() -> None:
    comma = profile_from(
        {"name": "our bench", "pattern": "(?P<number>[0-9.,]{1,12}) g", "decimal_mark": "comma"}
    )
    assert str(read_line("1,049 g", comma).grams) == "1.049"
    point = profile_from(
        {"name": "our bench", "pattern": "(?P<number>[0-9.,]{1,12}) g", "decimal_mark": "point"}
    )
    for raw, profile, code in [
        ("1.049 g", comma, "thousands-doubt"),
        ("49.90 g", comma, "not-a-balance-line"),
        ("1,049 g", point, "thousands-doubt"),
        ("49,90 g", point, "not-a-balance-line"),
    ]:
        with pytest.raises(Refused) as caught:
            read_line(raw, profile)
        assert caught.value.code == code


@pytest.mark.parametrize(
    ("raw", "shown"), [("0,049 kg", "49"), ("00049,900 g", "49.900"), ("1049,900", "1049.900")]
)
def test_a_comma_that_cannot_part_thousands_is_no_doubt(raw: str, shown: str) -> None:
    assert str(read_line(raw).grams) == shown


def test_whole_kilograms_keep_what_they_do_not_say() -> None:
    reading = read_line("ST,GS,+ 12 kg")
    assert (str(reading.grams), str(reading.step)) == ("12000", "1000")


def test_the_question_mark_shape_calls_a_line_without_one_steady() -> None:
    assert read_line("   49.90 g", PROFILES["question mark"]).stable is True
    assert read_line("   49.90 g").stable is None


def test_with_the_pan_empty_a_zero_is_an_answer() -> None:
    assert str(read_line("ST,GS,+ 0.00 g", pan_empty=True).grams) == "0.00"
    assert str(read_line("ST,GS,- 0.01 g", pan_empty=True).grams) == "-0.01"
    assert str(read_line("ST,GS,- 0.00 g", pan_empty=True).grams) == "0.00"
    with pytest.raises(Refused, match="overloaded"):
        read_line("OL,GS,+ 0.00 g", pan_empty=True)


def fuzzed_lines(count: int) -> Iterator[str]:
    rng = random.Random(20_261_125)
    stock = [
        "ST,GS,+   49.90 g", "US,NT,-   12.31 g", "OL,GS,+ 9999.99 g", "ST,+00049.90  g", "+     49.90 g  ",
        "      49,90 g", "49.90", "   49.90 g ?", "1 049.90 g", "1,049 g", "0.0499 kg", "------", "Err 4", "3R71XZ15",
    ]  # fmt: skip
    letters = string.printable + "éÑ٤\x00\x1b"
    for _ in range(count):
        line = list(rng.choice(stock))
        for _ in range(rng.randint(0, 4)):
            place = rng.randint(0, len(line))
            line[place : place + rng.randint(0, 2)] = rng.choice(
                (rng.choice(letters), rng.choice("0123456789.,- "), "")
            )
        yield "".join(line)


def assert_no_silent_accept(raw: str) -> bool:
    """Whether the line was taken; then its number must stand in it as one piece, and its unit be g or kg."""
    try:
        reading = read_line(raw)
    except Refused:
        return False
    assert 0 < reading.grams < 100_000 and reading.raw == raw
    assert not re.search("-", raw) and not re.search("OL|Err", raw)
    assert ("?" in raw or "US" in raw) == (reading.stable is False)
    number = re.findall(r"[0-9](?:[0-9., ]*[0-9])?", raw)
    assert len(number) == 1
    shown = D(number[0].replace(" ", "").replace(",", "."))
    assert reading.grams == (shown * 1000 if "k" in raw.lower() else shown)
    assert reading.step == max(
        D(1).scaleb(int(shown.as_tuple().exponent)) * (1000 if "k" in raw.lower() else 1), 0
    )
    return True


def test_ten_thousand_fuzzed_lines_raise_nothing_else_and_none_is_taken_in_silence() -> None:
    taken = sum(assert_no_silent_accept(line) for line in fuzzed_lines(10_000))
    assert 2_000 < taken < 8_000


@given(st.text(max_size=100) | st.text("STUOLGN,+-0123456789. kg?", max_size=30))
@example("0000000 g")
def test_any_text_at_all_is_read_or_refused(raw: str) -> None:
    assert_no_silent_accept(raw)


@given(
    st.decimals("0.01", "99999.99", places=2),
    st.sampled_from(
        ["ST,GS,+{:>8} g", "ST,+{:0>8}  g", "+{:>10} g  ", "{:>10} g", "{}", "{:>10} g ?", "{} kg"]
    ),
)
def test_every_weight_is_read_with_its_digits_in_every_shape(value: D, shape: str) -> None:
    raw = shape.format(f"{value:.2f}")
    if "kg" in raw and value >= 100:
        assert refusal(raw).code == "not-a-weight"
    else:
        # Compared as whole hundredths, so that nothing is shared with how the line is read.
        assert int(read_line(raw).grams * 100) == int(value * 100) * (1000 if "kg" in raw else 1)
        assert "kg" in raw or str(read_line(raw).grams) == f"{value:.2f}"


STEADY = read_line("ST,GS,+ 49.90 g")
UNSTEADY = read_line("US,GS,+ 49.90 g")
UNSAID = read_line("49.90")


@pytest.mark.parametrize(
    ("previous", "reading", "seconds", "pressed", "storable"),
    [
        (None, STEADY, None, False, True),
        (None, UNSTEADY, None, True, False),
        (UNSTEADY, UNSTEADY, 5, False, False),
        (None, UNSAID, None, False, False),
        (None, UNSAID, None, True, True),
        (UNSAID, UNSAID, 1, False, True),
        (UNSAID, UNSAID, D("0.99"), False, False),
        (UNSAID, UNSAID, None, False, False),
        (read_line("49.91"), UNSAID, 2, False, False),
        (read_line("49.9"), UNSAID, 2, False, False),
        (UNSTEADY, UNSAID, 2, False, False),
    ],
)
def test_what_may_be_stored(
    previous: Reading | None, reading: Reading, seconds: D | int | None, pressed: bool, storable: bool
) -> None:
    assert settle(previous, reading, seconds, pressed=pressed) is storable


def test_replaying_a_bench_stores_one_reading_of_one_sack() -> None:
    # Half a second between lines: rising, then the same three times.
    log = ["12.10 g", "49.80 g", "49.90 g", "49.90 g ?", "49.90 g", "49.90 g"]
    readings = [read_line(line) for line in log]
    stored = [
        index
        for index in range(2, len(log))
        if settle(readings[index - 1], readings[index], D("0.5"))
        or settle(readings[index - 2], readings[index], 1)
    ]
    assert stored == [4]


OWN: dict[str, Any] = {
    "name": "our bench",
    "pattern": r"(?P<status>[SD]) (?P<number>[0-9.]{1,9}) (?P<unit>k?g)",
    "statuses": {"S": "stable", "D": "unstable"},
}


def test_an_office_can_describe_its_own_balance() -> None:
    profile = profile_from(OWN)
    assert read_line("S     49.90 g", profile).stable is True
    assert read_line("D     49.90 g", profile).stable is False
    assert read_line("S 0.0499 kg\r\n", profile).profile == "our bench"
    with pytest.raises(Refused):
        read_line("ST,GS,+ 49.90 g", profile)


def test_a_balance_that_leaves_out_the_unit_while_unsteady_can_be_described() -> None:
    # Met in the manual of one maker.
    pattern = "[+-]? ?(?P<number>[0-9.]{1,9}) ?(?P<status>g)?"
    profile = profile_from(OWN | {"pattern": pattern, "statuses": {"g": "stable"}, "unmarked": "unstable"})
    assert read_line("+   49.90 g", profile).stable is True
    assert read_line("+   49.90  ", profile).stable is False


@pytest.mark.parametrize(
    "spoiled",
    [
        {"pattern": "(?P<number>[0-9]+"},
        {"pattern": "[0-9]+"},
        {"pattern": "(?P<number>[0-9]+)(?P<colour>x)"},
        {"pattern": "(?P<number>(?:[0-9]+)+)"},
        {"pattern": "(?P<number>([0-9]{1,3}){2,9})"},
        {"pattern": "(?P<number>[0-9]*[0-9]*[0-9]*)"},
        {"pattern": "a?" * 20 + "(?P<number>[0-9])"},
        {"pattern": r"(?P<number>[0-9])\1"},
        {"pattern": "(?=a)(?P<number>[0-9])"},
        {"pattern": "(?P<number>[0-9])" + "x" * 200},
        {"pattern": 7},
        {"name": ""},
        {"statuses": {"S": "calm"}},
        {"statuses": ["S"]},
        {"modes": {"B": "brutto"}},
        {"unmarked": "perhaps"},
        {"unit": "lb"},
        {"decimal_mark": "stop"},
        {"terminator": "CR"},
    ],
    ids=str,
)
def test_a_profile_spoiled_in_one_place_is_refused(spoiled: dict[str, Any]) -> None:
    with pytest.raises(Refused) as caught:
        profile_from(OWN | spoiled)
    assert caught.value.code == "balance-profile" and caught.value.field == "profile"


@pytest.mark.parametrize("name", sorted(set(PROFILES) - {"any"}))
def test_the_built_in_shapes_keep_the_rules_for_own_ones(name: str) -> None:
    check_pattern(PROFILES[name].pattern)


def time_to_refuse(digits: int, profile: Profile) -> float:
    """Seconds of work, the best of five."""
    taken = []
    for _ in range(5):
        began = time.process_time()
        with pytest.raises(Refused):
            read_line("9" * digits + ".", profile)
        taken.append(time.process_time() - began)
    return min(taken)


def test_the_slowest_pattern_that_is_taken_grows_with_a_power_of_the_line_s_length() -> None:
    pattern = "(?P<number>[0-9]*[0-9]*)" + "9?" * 2 + "x"
    check_pattern(pattern)
    assert MOST_WAYS > 80**2 * 4
    profile = profile_from(OWN | {"pattern": pattern})
    # Unbounded, each digit more would double the work, and 35 more would take hours.
    assert time_to_refuse(70, profile) < 40 * time_to_refuse(35, profile)


# Unbounded patterns need hours; ten seconds leave room for a computer that does much else.
@settings(max_examples=200)
@given(
    st.lists(
        st.sampled_from(["9", "[0-9]", "(", "(?:", ")", "?", "*", "+", "{1,9}", "{2}", "|", "."]), max_size=16
    )
)
def test_any_pattern_is_refused_or_quick(pieces: list[str]) -> None:
    try:
        profile = profile_from(OWN | {"pattern": "(?P<number>[0-9])" + "".join(pieces) + "x"})
    except Refused as refused:
        assert refused.code == "balance-profile"
        return
    assert profile.match("9" * 80) is None


@pytest.mark.parametrize("nothing", ["", "  ", "\r\n"])
def test_an_empty_box_is_told_to_be_filled_and_not_to_change_the_profile(nothing: str) -> None:
    told = refusal(nothing)
    assert "no weight" in told.message and "profile" not in (told.remedy or "")
