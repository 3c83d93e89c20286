"""One text for one value, held against RFC 8785's own examples and an independent writer of it."""

from __future__ import annotations

import json
from typing import Any

import pytest
import rfc8785
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tracker.domain.canonical import LARGEST_INTEGER, canonical, composed

# The test files that RFC 8785, appendix F names (cyberphone/json-canonicalization, testdata, seen), as far as they
# hold no fractions: those never reach us.
PUBLISHED = {
    "french": (
        '{"peach": "This sorting order", "p\\u00e9ch\\u00e9": "is wrong according to French",'
        ' "p\\u00eache": "but canonicalization MUST", "sin": "ingnore locale"}',
        '{"peach":"This sorting order","p\u00e9ch\u00e9":"is wrong according to French",'
        '"p\u00eache":"but canonicalization MUST","sin":"ingnore locale"}',
    ),
    "structures": (
        '{"1": {"f": {"f": "hi","F": 5} ,"\\n": 56}, "10": { }, "": "empty", "a": { }, "111": [ { } ], "A": { }}',
        '{"":"empty","1":{"\\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{}],"A":{},"a":{}}',
    ),
    "weird": (
        '{"\\u20ac": "Euro Sign", "1": "One", "\\u0080": "Control\\u007f", "\\ud83d\\ude02": "Smiley",'
        ' "\\u00f6": "Latin Small Letter O With Diaeresis", "\\ufb33": "Hebrew Letter Dalet With Dagesh",'
        ' "</script>": "Browser Challenge"}',
        '{"1":"One","</script>":"Browser Challenge","\u0080":"Control\u007f",'
        '"\u00f6":"Latin Small Letter O With Diaeresis","\u20ac":"Euro Sign","\U0001f602":"Smiley",'
        '"\ufb33":"Hebrew Letter Dalet With Dagesh"}',
    ),
    # RFC 8785, 3.2.3: the string of the example, each escape in its one form.
    "escapes": (
        '{"string": "\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/", "literals": [null, true, false]}',
        '{"literals":[null,true,false],"string":"\u20ac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}',
    ),
}
# How fast the machine is proves nothing here.
SLOWLY = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-LARGEST_INTEGER, LARGEST_INTEGER) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=4),
    max_leaves=12,
)


@pytest.mark.parametrize("name", PUBLISHED)
def test_the_published_examples_come_out_byte_for_byte(name: str) -> None:
    given_text, wanted = PUBLISHED[name]
    assert canonical(json.loads(given_text)) == wanted.encode()
    assert rfc8785.dumps(json.loads(given_text)) == wanted.encode()


@SLOWLY
@given(VALUES)
def test_an_independent_writer_gives_the_same_bytes(value: Any) -> None:
    assert canonical(value) == rfc8785.dumps(value)


@SLOWLY
@given(VALUES)
def test_reading_and_writing_again_gives_the_same_text(value: Any) -> None:
    text = canonical(value)
    assert canonical(json.loads(text)) == text


@pytest.mark.parametrize("value", [1.5, {"grams": 250.0}, object(), {1: "one"}])
def test_what_has_no_one_text_is_refused(value: Any) -> None:
    with pytest.raises(TypeError):
        canonical(value)


@pytest.mark.parametrize("value", [2**53, -(2**53), "\ud800"])
def test_what_not_every_reader_has_is_refused(value: Any) -> None:
    with pytest.raises(ValueError):
        canonical(value)


def test_a_word_typed_in_two_ways_is_one_text() -> None:
    # "e" with an accent: one letter, or a letter and a combining sign (Unicode, forms C and D).
    assert canonical(composed({"Ren\u00e9": "\u00e9"})) == canonical(composed({"Rene\u0301": "e\u0301"}))
    assert canonical("\u00e9") != canonical("e\u0301")
