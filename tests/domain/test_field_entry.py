"""What a phone may send, and the gaps in its own count."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.field_entry import KINDS, missing, read_event_id, read_kind, used_twice
from tracker.errors import Refused

# The example of RFC 9562, A.6 (test vector of a version 7 UUID).
RFC_EXAMPLE = "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"


def test_the_example_of_the_standard_is_an_id() -> None:
    assert read_event_id(f" {RFC_EXAMPLE} ") == RFC_EXAMPLE.lower()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "017F22E279B07CC398C4DC0C0C07398F",
        # The versions 1, 4 and 8 of the same appendix.
        "C232AB00-9414-11EC-B3C8-9F6BDECED846",
        "919108F7-52D1-4320-9BAC-F847DB4148A8",
        "2489E9AD-2EE2-8E00-8EC9-32D5F69181C0",
        # Version 7 in the wrong variant.
        "017F22E2-79B0-7CC3-18C4-DC0C0C07398F",
    ],
)
def test_other_texts_are_none(text: str) -> None:
    with pytest.raises(Refused) as caught:
        read_event_id(text)
    assert caught.value.code == "entry-id"


def test_kinds_are_known_by_their_names_alone() -> None:
    assert [read_kind(kind) for kind in KINDS] == list(KINDS)
    with pytest.raises(Refused) as caught:
        read_kind("Release")
    assert caught.value.code == "unknown-entry-kind"


@pytest.mark.parametrize(
    ("numbers", "gaps"),
    [
        ([], ()),
        ([1, 2, 3], ()),
        ([1, 2, 4], ((3, 3),)),
        ([4, 2, 1], ((3, 3),)),
        ([3], ((1, 2),)),
        ([1, 5, 9, 9], ((2, 4), (6, 8))),
    ],
)
def test_a_gap_in_the_count_is_what_never_came(numbers: list[int], gaps: tuple[object, ...]) -> None:
    assert missing(numbers) == gaps


@given(st.lists(st.integers(1, 200)))
def test_the_numbers_that_came_and_the_gaps_make_the_whole_count(numbers: list[int]) -> None:
    lost = {number for first, last in missing(numbers) for number in range(first, last + 1)}
    assert lost | set(numbers) == set(range(1, max(numbers, default=0) + 1))
    assert lost.isdisjoint(numbers)
    assert used_twice(numbers) == tuple(sorted({n for n in numbers if numbers.count(n) > 1}))
