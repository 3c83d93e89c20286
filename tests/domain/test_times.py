"""Moments with their offset, and civil dates without any."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.times import at_offset, day, duration_said, moment, offset_minutes, said, utc
from tracker.errors import Refused

MORNING = "2026-06-14T09:10:00-05:00"
# Offsets in use on earth run from -12:00 to +14:00.
offsets = st.integers(-12 * 4, 14 * 4).map(lambda quarter: timezone(timedelta(minutes=15 * quarter)))
# Hypothesis wants naive bounds and sets the offset itself.
EARLIEST, LATEST = datetime(1970, 1, 2), datetime(2100, 1, 1)  # noqa: DTZ001
moments = st.datetimes(EARLIEST, LATEST, timezones=offsets)


def refused(text: str) -> Refused:
    with pytest.raises(Refused) as caught:
        moment(text, field="at")
    assert caught.value.field == "at" and caught.value.remedy
    return caught.value


def test_a_moment_is_kept_with_the_offset_it_was_written_with() -> None:
    assert moment(MORNING).isoformat() == MORNING
    assert offset_minutes(moment(MORNING)) == -300


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        # RFC 3339, section 5.8: the examples and what they say of them.
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870000, UTC)),
        ("1985-04-12t23:20:50z", datetime(1985, 4, 12, 23, 20, 50, tzinfo=UTC)),
    ],
)
def test_the_examples_of_rfc_3339_are_read(text: str, instant: datetime) -> None:
    assert moment(text) == instant


@pytest.mark.parametrize(
    "text",
    [
        "2026-06-14T09:10:00",
        "2026-06-14T09:10-05:00",
        "2026-06-14",
        "20260614T091000Z",
        "2026-02-29T09:10:00Z",
        "2026-06-14T24:10:00Z",
        "2026-06-14T09:10:61Z",
        "2026-06-14T09:10:00-0500",
        "14/06/2026 09:10:00Z",
        "",
    ],
)
def test_a_time_without_seconds_or_offset_or_out_of_the_calendar_is_refused(text: str) -> None:
    assert refused(text).code == "not-a-time"


@given(moments)
def test_what_is_written_is_read_back(when: datetime) -> None:
    back = moment(when.isoformat())
    assert back == when and back.utcoffset() == when.utcoffset()


@given(moments)
def test_utc_and_the_offset_together_give_the_device_time_back(when: datetime) -> None:
    kept, minutes = utc(when), offset_minutes(when)
    assert kept.utcoffset() == timedelta(0)
    assert at_offset(kept, minutes).isoformat() == when.isoformat()


def test_a_moment_without_an_offset_is_a_mistake_in_the_program() -> None:
    naive = datetime(2026, 6, 14, 9, 10)  # noqa: DTZ001
    for act in (moment, offset_minutes):
        with pytest.raises(TypeError):
            act(naive)
    aware = naive.replace(tzinfo=UTC)
    assert moment(aware) is aware


def test_a_cutting_date_is_a_civil_date() -> None:
    assert day("2026-06-14") == day(date(2026, 6, 14)) == date(2026, 6, 14)
    with pytest.raises(TypeError):
        day(moment(MORNING))


@pytest.mark.parametrize("text", ["2026-02-30", "14.06.2026", "2026-6-14", "20260614", "2026-W24-7", ""])
def test_a_date_not_written_year_first_or_not_in_the_calendar_is_refused(text: str) -> None:
    with pytest.raises(Refused) as caught:
        day(text, field="cut on")
    assert (caught.value.code, caught.value.field) == ("not-a-date", "cut on")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (MORNING, "14 Jun 2026, 09:10 (UTC-05:00)"),
        ("2026-06-04T23:59:59Z", "4 Jun 2026, 23:59 (UTC)"),
        ("2026-06-14T09:10:00+05:45", "14 Jun 2026, 09:10 (UTC+05:45)"),
    ],
)
def test_a_moment_is_said_at_the_offset_of_the_device(text: str, words: str) -> None:
    assert said(moment(text)) == words


@pytest.mark.parametrize(
    ("span", "words"),
    [
        (timedelta(seconds=59), "0 min"),
        (timedelta(minutes=59), "59 min"),
        (timedelta(minutes=60), "1 h"),
        (timedelta(hours=5, minutes=20), "5 h 20 min"),
        (timedelta(hours=47, minutes=59), "47 h 59 min"),
        (timedelta(hours=48), "2 days"),
        (timedelta(days=3, hours=4, minutes=50), "3 days 4 h"),
    ],
)
def test_a_span_is_said_as_people_say_it(span: timedelta, words: str) -> None:
    assert duration_said(span) == words
