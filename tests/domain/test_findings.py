"""Remarks and how grave they are."""

from __future__ import annotations

import pytest

from tracker.domain.findings import CAUTION, HOLD, NOTE, Finding, worst


def test_the_gravest_level_stands_for_all_whatever_the_order() -> None:
    note, caution, hold = (Finding("a", level, "Words.") for level in (NOTE, CAUTION, HOLD))
    assert worst([]) is None
    assert worst([note]) == "note"
    assert worst([caution, note]) == "caution"
    assert worst([note, hold, caution]) == "hold"


def test_a_level_that_is_none_of_the_three_is_a_mistake_in_the_program() -> None:
    with pytest.raises(ValueError, match="severe"):
        Finding("a", "severe", "Words.")
