"""Coarse, then fine; and dry enough for each."""

from __future__ import annotations

from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.grinding import GRIND_STAGES, SAFETY, gate
from tracker.domain.practice import Practice
from tracker.errors import Refused

COARSE_DONE = {"coarse": D(2)}


def refusal(stage: str, screen: str, **more: Any) -> str:
    with pytest.raises(Refused) as caught:
        gate(stage, D(screen), **more)
    assert caught.value.remedy and caught.value.field
    return caught.value.code


def codes(stage: str, screen: str, **more: Any) -> list[str]:
    return [finding.code for finding in gate(stage, D(screen), **more)]


@pytest.mark.parametrize(
    ("dm", "coarse", "fine"),
    [
        # NFTA sample preparation: the cutting mill works at 80 to 85 % DM or more, the 1 mm stage at 90 to 95.
        ("79.9", False, False),
        ("80", True, False),
        ("87", True, False),
        ("89.9", True, False),
        ("90", True, True),
        ("93", True, True),
    ],
)
def test_hay_is_ground_only_as_dry_as_the_mill_needs(dm: str, coarse: bool, fine: bool) -> None:
    assert _goes("coarse", "2", dm=D(dm), done={}) == coarse
    assert _goes("fine", "1", dm=D(dm), done=COARSE_DONE) == fine


def _goes(stage: str, screen: str, **more: Any) -> bool:
    try:
        gate(stage, D(screen), **more)
    except Refused as refused:
        assert refused.code == "too-moist-to-grind"
        return False
    return True


@given(
    st.sampled_from(GRIND_STAGES),
    st.integers(0, 1000).map(lambda tenth: D(tenth) / 10),
    st.integers(0, 1000).map(lambda tenth: D(tenth) / 10),
)
def test_what_grinds_at_one_dryness_grinds_when_drier(stage: str, dm: D, more: D) -> None:
    done = COARSE_DONE if stage == "fine" else {}
    if _goes(stage, "1", dm=dm, done=done):
        assert _goes(stage, "1", dm=dm + more, done=done)


def test_fine_before_coarse_is_refused() -> None:
    assert refusal("fine", "1", done={}, dm=D(93)) == "grind-out-of-order"


def test_a_grind_is_recorded_once() -> None:
    assert refusal("coarse", "2", done=COARSE_DONE, dm=D(93)) == "grind-out-of-order"
    assert refusal("fine", "1", done={"coarse": D(2), "fine": D(1)}, dm=D(93)) == "grind-out-of-order"
    assert refusal("coarse", "2", done={"fine": D(1)}, dm=D(93)) == "grind-out-of-order"


@pytest.mark.parametrize("screen", ["2", "4"])
def test_the_second_screen_is_finer_than_the_first(screen: str) -> None:
    assert refusal("fine", screen, done=COARSE_DONE, dm=D(93)) == "screen-not-finer"
    assert codes("fine", "1.9", done=COARSE_DONE, dm=D(93)) == ["screen-not-usual"]


def test_no_screen_and_no_such_grind_are_refused() -> None:
    assert refusal("coarse", "0", done={}, dm=D(93)) == "not-positive"
    assert refusal("medium", "1", done={}, dm=D(93)) == "unknown-grind"


def test_dried_hay_is_ground_without_a_measured_dryness_and_the_fine_grind_says_so() -> None:
    assert codes("coarse", "2", done={}, dried=True) == []
    assert codes("fine", "1", done=COARSE_DONE, dried=True) == ["dryness-not-measured"]


def test_a_measured_dryness_counts_more_than_having_been_dried() -> None:
    assert refusal("fine", "1", done=COARSE_DONE, dm=D(85), dried=True) == "too-moist-to-grind"


def test_hay_of_which_nothing_is_known_is_not_ground() -> None:
    assert refusal("coarse", "2", done={}) == "too-moist-to-grind"


def test_an_unusual_screen_is_a_note_when_coarse_and_a_caution_when_fine() -> None:
    # The NFTA text says 4 to 6 mm for the coarse grind, common practice 2 mm; the fine screen binds the scan.
    (coarse,) = gate("coarse", D(4), done={}, dm=D(93))
    (fine,) = gate("fine", D("0.5"), done=COARSE_DONE, dm=D(93))
    assert (coarse.level, fine.level) == ("note", "caution")
    assert codes("coarse", "4", done={}, dm=D(93), practice=Practice({"coarse_screen": D(4)})) == []


def test_a_screen_written_with_decimals_is_the_same_screen() -> None:
    assert codes("fine", "1.0", done=COARSE_DONE, dm=D(93)) == []


def test_mill_and_oven_have_their_words_of_caution() -> None:
    words = {machine: " ".join(line.words for line in lines) for machine, lines in SAFETY.items()}
    assert "unplug" in words["mill"] and "mask" in words["mill"] and "eye" in words["mill"]
    assert "gloves" in words["oven"] and "plastic" in words["oven"]
