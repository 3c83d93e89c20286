"""Moments: UTC kept, the device's own offset kept beside it.

RFC 3339 with seconds and offset is the only accepted form. A cutting date is a civil date and is never
shifted by a time zone.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta, timezone

from tracker.errors import Refused

# A device may run ahead of the server by this much before its time is doubted (common practice; clocks that
# are set by a network agree within seconds).
CLOCK_SKEW = timedelta(minutes=5)
# An entry that reaches the office later than this is marked late.
LATE_AFTER = timedelta(hours=24)

_RFC3339 = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}:\d{2})(\.\d{1,6})?([Zz]|[+-]\d{2}:\d{2})", re.ASCII
)


def moment(text: str | datetime, *, field: str = "time") -> datetime:
    """An aware datetime with the offset it was written with.

    moment("2026-06-14T09:10:00-05:00").isoformat() gives the same text back. Raises Refused `not-a-time` for
    a time without seconds or without an offset, or one that is not in the calendar.
    """
    if isinstance(text, datetime):
        if text.tzinfo is None:
            raise TypeError("a moment without an offset means nothing once the device has moved")
        return text
    match = _RFC3339.fullmatch(text.strip())
    if match:
        day, clock, fraction, offset = match.groups()
        written = f"{day}T{clock}{(fraction or '')}{'+00:00' if offset in 'Zz' else offset}"
        try:
            return datetime.fromisoformat(written)
        except ValueError:
            pass
    raise Refused(
        "not-a-time",
        f"{text!r} is not a time with seconds and offset.",
        field=field,
        remedy="Write it like 2026-06-14T09:10:00-05:00.",
    )


def day(text: str | date, *, field: str = "date") -> date:
    """A civil date written YYYY-MM-DD. Raises Refused `not-a-date`."""
    if isinstance(text, datetime):
        raise TypeError("a civil date is not a moment")
    if isinstance(text, date):
        return text
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text.strip(), re.ASCII):
            raise ValueError(text)
        return date.fromisoformat(text.strip())
    except ValueError:
        raise Refused(
            "not-a-date",
            f"{text!r} is not a date.",
            field=field,
            remedy="Write it year first, like 2026-06-14.",
        ) from None


def utc(when: datetime) -> datetime:
    """The same instant in UTC."""
    return when.astimezone(UTC)


def offset_minutes(when: datetime) -> int:
    """The device's offset from UTC in minutes, as it was written."""
    offset = when.utcoffset()
    if offset is None:
        raise TypeError("a moment without an offset means nothing once the device has moved")
    return int(offset.total_seconds() // 60)


def at_offset(utc_moment: datetime, minutes: int) -> datetime:
    """A stored UTC instant shown again at the offset the device had."""
    return utc_moment.astimezone(timezone(timedelta(minutes=minutes)))


def said(when: datetime) -> str:
    """A moment as people read it, at the device's own offset: 14 Jun 2026, 09:10 (UTC-05:00)."""
    offset = when.strftime("%z")
    zone = "UTC" if offset in ("+0000", "-0000") else f"UTC{offset[:3]}:{offset[3:]}"
    return f"{when.day} {when.strftime('%b %Y, %H:%M')} ({zone})"


def duration_said(span: timedelta) -> str:
    """A span as people say it: 40 min, 5 h 20 min, 3 days 4 h."""
    minutes = int(span.total_seconds() // 60)
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    days, hours = divmod(hours, 24)
    return f"{days} days {hours} h" if hours else f"{days} days"
