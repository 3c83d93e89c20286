"""The reasons at the desk, each with what is usually done and what the producer is told."""

from __future__ import annotations

import pytest

from tracker.domain.receipt_reasons import ACTIONS, REASONS, decided
from tracker.errors import Refused


@pytest.mark.parametrize("name", REASONS)
def test_each_reason_has_an_action_and_short_sentences(name: str) -> None:
    reason = REASONS[name]
    assert reason.action in ACTIONS
    sentences = [part for part in reason.sentence.split(". ") if part]
    assert sentences and all(len(part.split()) <= 20 for part in sentences)


def test_the_usual_action_stands_unless_another_is_chosen() -> None:
    assert decided("mixed lots")[1] == "refuse"
    assert decided("mixed lots", "hold")[1] == "hold"


@pytest.mark.parametrize(
    ("name", "action", "code"), [("ugly", "", "unknown-reason"), ("mixed lots", "burn", "unknown-action")]
)
def test_what_is_not_in_the_lists_is_refused(name: str, action: str, code: str) -> None:
    with pytest.raises(Refused) as caught:
        decided(name, action)
    assert caught.value.code == code
