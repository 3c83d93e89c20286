"""The time that counts of an entry made on a phone whose clock may be anything.

The thresholds are our choice; that clocks are off by days is not: Acer and others, Where the wild warnings are
(2017), found 6.7 % of the browsers that reported a certificate error more than a day slow.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.field_clock import (
    AT_SENDING,
    COMPARED,
    NEVER,
    ON_PAPER,
    REACH,
    ClockReading,
    Corrected,
    corrected,
)

HERE = timezone(timedelta(hours=-5))
HAPPENED = datetime(2026, 6, 20, 9, 0, tzinfo=HERE)
HEARD = HAPPENED.astimezone(UTC) + timedelta(hours=6)


def read(*, slow: timedelta, knows: bool = True, **changes: object) -> Corrected:
    """An entry made at nine by the true time on a phone so slow, sent six hours later."""
    reading = {
        "device_time": HAPPENED - slow,
        "received": HEARD,
        "offset_ms": int(slow / timedelta(milliseconds=1)) if knows else None,
        "sent_at": HEARD - slow,
        **changes,
    }
    return corrected(ClockReading(**reading))  # type: ignore[arg-type]


def test_a_phone_three_days_slow_is_put_right_and_flagged() -> None:
    found = read(slow=timedelta(days=3))
    assert (found.at, found.basis, found.doubted) == (HAPPENED, COMPARED, True)
    assert found.words == "The phone's clock is 3 days slow; the time here is put right."


@pytest.mark.parametrize(
    ("slow", "doubted", "words"),
    [
        (timedelta(0), False, ""),
        (timedelta(seconds=119), False, ""),
        (timedelta(minutes=7), False, "The phone's clock is 7 min slow; the time here is put right."),
        (timedelta(minutes=-7), False, "The phone's clock is 7 min fast; the time here is put right."),
        (timedelta(hours=24), False, "The phone's clock is 24 h slow; the time here is put right."),
        (timedelta(hours=25), True, "The phone's clock is 25 h slow; the time here is put right."),
        (timedelta(days=-9), True, "The phone's clock is 9 days fast; the time here is put right."),
    ],
)
def test_what_is_said_of_a_clock(slow: timedelta, doubted: bool, words: str) -> None:
    found = read(slow=slow)
    assert (found.at, found.doubted, found.words) == (HAPPENED, doubted, words)
    assert found.slow == slow


def test_a_phone_that_never_compared_is_compared_by_its_sending() -> None:
    found = read(slow=timedelta(days=3), knows=False)
    assert (found.at, found.basis, found.doubted) == (HAPPENED, AT_SENDING, True)


def test_a_clock_that_was_changed_after_the_entry_is_uncertain_and_taken_by_its_sending() -> None:
    found = read(slow=timedelta(hours=1), jumped=True, offset_ms=0)
    assert (found.at, found.basis, found.doubted) == (HAPPENED, AT_SENDING, True)
    assert found.words.startswith("The phone's clock was changed after this entry, so its time is uncertain.")
    assert found.reach is None


def test_a_file_from_a_phone_that_never_compared_keeps_the_phones_own_time_and_says_so() -> None:
    found = read(slow=timedelta(hours=2), knows=False, sent_at=None)
    assert (found.at, found.basis, found.slow, found.doubted) == (
        HAPPENED - timedelta(hours=2),
        NEVER,
        None,
        True,
    )
    assert "never compared" in found.words


def test_nothing_happened_after_it_was_heard_of() -> None:
    ahead = read(slow=timedelta(0), device_time=HEARD + timedelta(hours=3), sent_at=None)
    assert (ahead.at, ahead.doubted) == (HEARD, True)
    assert "still to come" in ahead.words
    a_breath = read(slow=timedelta(0), device_time=HEARD + timedelta(seconds=30), sent_at=None)
    assert (a_breath.at, a_breath.doubted, a_breath.words) == (HEARD, False, "")


def test_the_time_on_paper_stands_as_it_was_written_and_not_the_time_of_typing() -> None:
    written = HAPPENED - timedelta(days=1)
    found = read(slow=timedelta(days=3), paper_at=written)
    assert (found.at, found.basis, found.doubted, found.words) == (written, ON_PAPER, False, "")
    assert found.reach is None
    later = read(slow=timedelta(0), paper_at=HEARD + timedelta(days=1))
    assert (later.at, later.doubted) == (HEARD, True)


def test_a_phone_that_is_right_is_moved_a_little_at_most() -> None:
    assert read(slow=timedelta(minutes=7)).reach == REACH
    assert read(slow=timedelta(days=3)).reach is None


@pytest.mark.parametrize("year", [1, 1970, 1999])
@pytest.mark.parametrize("changes", [{"sent_at": None, "offset_ms": None}, {"offset_ms": 0}])
def test_a_time_that_cannot_be_gives_way_to_that_of_its_coming(year: int, changes: dict[str, object]) -> None:
    first = datetime(year, 1, 1, tzinfo=timezone(timedelta(hours=14)))
    found = read(slow=timedelta(0), device_time=first, **changes)
    assert (found.at, found.doubted, found.reach) == (HEARD, True, None)
    assert "none that can be" in found.words
    last = datetime(9999, 12, 31, 23, 59, tzinfo=timezone(timedelta(hours=-12)))
    assert read(slow=timedelta(0), device_time=last, **{**changes, "offset_ms": 10**12}).at == HEARD
    assert read(slow=timedelta(0), paper_at=first).at == HEARD


def test_a_phone_that_fell_back_to_1970_and_was_compared_is_put_right() -> None:
    found = read(slow=HAPPENED - datetime(1970, 1, 1, tzinfo=UTC))
    assert (found.at, found.doubted, found.basis) == (HAPPENED, True, COMPARED)


@given(
    slow=st.timedeltas(min_value=timedelta(days=-4000), max_value=timedelta(days=4000)),
    knows=st.booleans(),
    jumped=st.booleans(),
    by_file=st.booleans(),
)
def test_no_clock_is_ever_refused_and_the_phones_own_offset_from_utc_is_kept(
    slow: timedelta, knows: bool, jumped: bool, by_file: bool
) -> None:
    found = read(slow=slow, knows=knows, jumped=jumped, **({"sent_at": None} if by_file else {}))
    assert found.at <= HEARD
    assert found.at.utcoffset() == timedelta(hours=-5)
    if not by_file:
        assert abs(found.at - HAPPENED) < timedelta(milliseconds=2)
