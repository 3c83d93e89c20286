"""When an answer is to be expected: by the programme's own records, never by a promise."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tracker.domain.hay_standing import due_words
from tracker.domain.turnaround import LEAST, expected, ranked, turnaround

NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)


def days(*counts: float) -> list[timedelta]:
    return [timedelta(days=count) for count in counts]


def test_median_and_90th_centile_are_spans_that_really_were() -> None:
    # By hand, nearest rank: of ten spans the median is that of rank 50 x 10 / 100 = 5, the 90th centile of rank 9.
    found = turnaround("desk", days(9, 1, 8, 2, 7, 3, 6, 4, 5, 10))
    assert found is not None
    assert (found.usual, found.slow, found.records) == (timedelta(days=5), timedelta(days=9), 10)


def test_of_no_spans_there_is_no_centile() -> None:
    with pytest.raises(ValueError, match="needs spans"):
        ranked([], 50)


def test_too_few_samples_say_nothing() -> None:
    assert turnaround("desk", days(*range(1, LEAST))) is None
    assert turnaround("desk", days(*range(1, LEAST + 1))) is not None


@pytest.mark.parametrize("counts", [(1, 1, 1, 1, 1), (1, 2, 3, 4, 5), (0.5, 9, 0.2, 4, 4, 4, 30)])
def test_half_were_no_slower_than_usual_and_nine_of_ten_than_slow(counts: tuple[float, ...]) -> None:
    spans = days(*counts)
    found = turnaround("desk", spans)
    assert found is not None
    assert sum(span <= found.usual for span in spans) >= len(spans) / 2
    assert sum(span <= found.slow for span in spans) >= len(spans) * 0.9
    assert found.usual <= found.slow


def test_no_day_is_named_that_is_past() -> None:
    took = turnaround("desk", days(2, 2, 2, 2, 6))
    assert took is not None
    due = expected(took, NOW - timedelta(days=4), NOW)
    assert due.usual == NOW.date() and due.slow == (NOW + timedelta(days=2)).date() and not due.late
    assert expected(took, NOW - timedelta(days=7), NOW).late


def test_what_is_said_names_what_it_rests_on() -> None:
    took = turnaround("desk", days(2, 2, 3, 3, 6))
    assert took is not None
    said = " ".join(due_words(expected(took, NOW, NOW)))
    assert "Saturday, July 4" in said and "Tuesday, July 7" in said and "our last 5 samples" in said
    assert "longer than usual" in " ".join(due_words(expected(took, NOW - timedelta(days=9), NOW)))
    assert due_words(None) == ("We cannot name a day yet.",)
