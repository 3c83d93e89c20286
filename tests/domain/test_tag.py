"""A tag's life: one code, one bag, for ever."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.tag import BOUND, ISSUED, KINDS, PRINTED, STATES, VOID, after, code_in
from tracker.errors import Conflict, Refused

CODE = "7K2M9QXQ"
BASE = "https://hay.example.edu"


@pytest.mark.parametrize(
    ("state", "kind", "then"),
    [
        (PRINTED, "tag issued", ISSUED),
        (ISSUED, "tag issued", ISSUED),
        (PRINTED, "tag bound", BOUND),
        (ISSUED, "tag bound", BOUND),
        (PRINTED, "tag voided", VOID),
        (ISSUED, "tag voided", VOID),
        (BOUND, "tag voided", VOID),
        (PRINTED, "tag reprinted", PRINTED),
        (ISSUED, "tag reprinted", ISSUED),
        (BOUND, "tag reprinted", BOUND),
    ],
)
def test_a_tag_goes_from_the_roll_to_one_bag_or_is_void(state: str, kind: str, then: str) -> None:
    assert after(state, kind, code=CODE) == then


@pytest.mark.parametrize("kind", ["tag bound", "tag issued"])
def test_a_tag_on_a_bag_never_gets_another_bag(kind: str) -> None:
    # ISO/IEC 17025:2017, 7.4.2: identification is kept and items are not confused.
    with pytest.raises(Conflict) as caught:
        after(BOUND, kind, code=CODE)
    assert caught.value.code == "tag-bound"
    assert CODE in caught.value.message


@pytest.mark.parametrize("kind", KINDS)
def test_a_void_tag_stays_void(kind: str) -> None:
    with pytest.raises(Refused) as caught:
        after(VOID, kind, code=CODE)
    assert caught.value.code == "tag-void"


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "tag printed"])
def test_a_tag_that_was_never_printed_is_none_of_ours(kind: str) -> None:
    with pytest.raises(Refused) as caught:
        after(None, kind, code=CODE)
    assert caught.value.code == "tag-not-printed"


@given(st.lists(st.sampled_from(KINDS), max_size=12))
def test_whatever_is_done_a_tag_is_bound_at_most_once_and_never_leaves_void(kinds: list[str]) -> None:
    state, bound = PRINTED, 0
    for kind in kinds:
        try:
            then = after(state, kind, code=CODE)
        except (Refused, Conflict):
            continue
        assert then in STATES
        assert state != VOID
        bound += kind == "tag bound"
        state = then
    assert bound <= 1


@pytest.mark.parametrize("text", [CODE, "7k2m 9qxq", "7K2M-9QXQ", f"{BASE}/t/7K2M9QXQ"])
def test_a_code_is_read_as_typed_or_scanned(text: str) -> None:
    assert code_in(text, BASE) == CODE


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "code-missing"),
        ("7K2M9QX", "code-length"),
        ("7K2M9QXR", "code-check"),
        ("7K2M9QX!", "code-characters"),
        ("https://elsewhere.example.org/t/7K2M9QXQ", "not-our-label"),
    ],
)
def test_what_is_no_code_of_ours_is_refused_with_what_to_do(text: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        code_in(text, BASE)
    assert caught.value.code == code
    assert caught.value.field is not None
    assert caught.value.remedy
