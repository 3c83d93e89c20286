"""What a phone sends is read whole, each entry by itself, and every digit stays."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.phones import LOT, Phone
from tracker.errors import Refused
from tracker.files.field_entries import Entry, Unreadable, hashed, read_batch
from tracker.storage.base import canonical


def read(body: Any) -> Any:
    return read_batch(json.dumps(body).encode())


def test_a_batch_is_read_with_its_phone_its_clock_and_its_entries() -> None:
    phone = Phone(slow=5)
    found = read(phone.body(30, phone.entry("register lot", 10, LOT), unsent=3))
    assert (found.device, found.called, found.unsent) == (phone.device, "Tove's phone", 3)
    assert found.sent_at.isoformat(timespec="milliseconds") == phone.clock(30)
    (entry,) = found.entries
    assert isinstance(entry, Entry)
    assert (entry.number, entry.kind, entry.offset_ms, entry.who) == (1, "register lot", 300_000, "tove")


def test_numbers_with_digits_stay_the_text_they_were() -> None:
    phone = Phone()
    body = json.dumps(phone.body(30, phone.entry("core lot", 10, {"place": {"lat": "LAT"}})))
    (entry,) = read_batch(body.replace('"LAT"', "44.120").encode()).entries
    assert entry.body["payload"]["place"]["lat"] == "44.120"
    # What cannot be hashed the same everywhere is never kept.
    assert canonical(entry.body)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity"])
def test_what_is_no_number_is_refused_with_the_whole(number: str) -> None:
    phone = Phone()
    body = json.dumps(phone.body(30, phone.entry("core lot", 10, {"composite_g": "GRAMS"})))
    with pytest.raises(Refused) as caught:
        read_batch(body.replace('"GRAMS"', number).encode())
    assert caught.value.code == "not-field-entries"


@pytest.mark.parametrize(
    "change",
    [
        {"marker": "hay-field-0"},
        {"marker": None},
        {"device": "one"},
        {"device": 1},
        {"sent_at": "yesterday"},
        {"entries": {}},
        {"entries": None},
        {"unsent": -1},
    ],
)
def test_a_batch_spoiled_in_one_place_is_none(change: dict[str, Any]) -> None:
    phone = Phone()
    with pytest.raises(Refused) as caught:
        read(phone.body(30, phone.entry("register lot", 10, LOT)) | change)
    assert (caught.value.code, bool(caught.value.remedy)) == ("not-field-entries", True)


@pytest.mark.parametrize("name", ["event_id", "seq", "kind", "payload", "who", "device_time"])
def test_an_entry_without_what_it_needs_is_unreadable_by_that_name(name: str) -> None:
    phone = Phone()
    entry = phone.entry("register lot", 10, LOT)
    del entry[name]
    (found,) = read(phone.body(30, entry)).entries
    assert isinstance(found, Unreadable)
    assert (found.complaint.code, found.complaint.field) == ("entry-unreadable", name)
    assert found.event_id == entry.get("event_id")


@pytest.mark.parametrize("entry", [None, 1, "x", [], True])
def test_what_is_no_entry_at_all_is_unreadable_and_the_others_are_read(entry: Any) -> None:
    phone = Phone()
    found = read(phone.body(30, entry, phone.entry("register lot", 10, LOT))).entries
    assert isinstance(found[0], Unreadable) and isinstance(found[1], Entry)


@pytest.mark.parametrize(
    "paper",
    [None, {}, {"form": "F-1"}, {"form": "", "at": "2026-06-20T09:00:00-05:00"}, {"form": "F", "at": 1}],
)
def test_an_entry_from_paper_names_its_form_and_its_time(paper: Any) -> None:
    phone = Phone()
    (found,) = read(phone.body(30, phone.entry("store", 10, {}, source="paper", paper=paper))).entries
    assert isinstance(found, Unreadable)


PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**9), 10**9) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(st.text(max_size=6), PLAIN, max_size=5))
def test_the_hash_is_of_the_values_and_not_of_their_order_or_blanks(body: dict[str, Any]) -> None:
    turned = dict(reversed(body.items()))
    assert hashed(body) == hashed(turned) == hashed(json.loads(json.dumps(turned, indent=3)))
    assert hashed(body) != hashed({**body, "one more": 1})


@given(st.binary(max_size=200) | PLAIN.map(lambda value: json.dumps(value).encode()))
def test_no_bytes_do_more_than_be_refused(content: bytes) -> None:
    with pytest.raises(Refused) as caught:
        read_batch(content)
    assert caught.value.code == "not-field-entries"


@given(PLAIN)
def test_no_entry_does_more_than_be_unreadable(entry: Any) -> None:
    phone = Phone()
    (found,) = read(phone.body(30, entry)).entries
    assert isinstance(found, Unreadable) and found.complaint.remedy
