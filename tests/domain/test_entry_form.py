"""Entries filled in by the thousand are the very entries that are written one by one."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.canonical import Form, bare, canonical, hole
from tracker.domain.entry_form import EntryForm
from tracker.domain.log_entry import Happened, entry_of, seal, words_of

HEARD = datetime(2026, 6, 21, 13, 20, tzinfo=UTC)
SAID = {"note": 'as "it" came, 5 %', "late_reason": "", "device": "office", "device_at": None}
OWN = {"analysis": hole("event_id"), "line": hole("line"), "scanned_at": bare("scanned_at")}
SALT = b"s" * 16


def scanned(seq: int, event_id: str, sample: int, lot: int, line: int, at: datetime, told: bool) -> Happened:
    """A row's event. told: whether the file says when it was scanned."""
    data: dict[str, Any] = {
        "analysis": event_id,
        "instrument": "NIR é 1",
        "line": str(line),
        "scanned_at": at.isoformat() if told else None,
        "source": "bench % NIR",
    }
    return Happened(
        seq, event_id, "scanned", sample, lot, None, at, HEARD, "ana", "analyst", data, SAID, {"ana": 3}
    )


def parts(one: Happened) -> dict[str, Any]:
    told = one.data["scanned_at"]
    return {
        "seq": one.seq,
        "event_id": one.event_id,
        "sample": one.sample,
        "lot": one.lot,
        "occurred": one.occurred_at.isoformat(),
        "line": one.data["line"],
        "scanned_at": "null" if told is None else f'"{told}"',
    }


whole = st.integers(1, 2**31 - 1)
moments = st.builds(
    lambda at, minutes: at.astimezone(timezone(timedelta(minutes=minutes))),
    st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
    st.integers(-14 * 60, 14 * 60),
)
events = st.builds(scanned, whole, st.uuids(version=4).map(str), whole, whole, whole, moments, st.booleans())


@given(events, events, st.none() | st.binary(min_size=32, max_size=32))
def test_a_form_gives_the_entry_of_every_event_like_its_first(
    first: Happened, one: Happened, previous: bytes | None
) -> None:
    entry = canonical(entry_of(one, seal(SALT, words_of(one)), previous)).decode()
    assert EntryForm(first, OWN).write(parts(one), SALT, previous) == entry
    data = Form({**first.data, **OWN}).filled(parts(one))
    assert data.encode() == canonical(one.data)


def test_what_is_sealed_with_the_words_cannot_be_an_events_own() -> None:
    first = scanned(1, "a", 2, 3, 4, HEARD, told=True)
    with pytest.raises(ValueError, match="sealed"):
        EntryForm(first, {**OWN, "source": hole("source")})


def test_a_word_that_looks_like_a_hole_shows_where_the_form_is_held_against_an_entry() -> None:
    first = scanned(1, "a", 2, 3, 4, HEARD, told=True)
    first = replace(first, role=hole("line"))
    entry = canonical(entry_of(first, seal(SALT, words_of(first)), None)).decode()
    assert EntryForm(first, OWN).write(parts(first), SALT, None) != entry
