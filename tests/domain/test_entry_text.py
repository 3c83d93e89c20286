"""An entry written the short way is the one that was logged, byte for byte, or is left to the long way."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tracker.domain.canonical import canonical
from tracker.domain.entry_text import Columns, EntryText, written_moments
from tracker.domain.log_entry import OPEN, Happened, entry_of, seal, words_of
from tracker.domain.times import at_offset

SLOWLY = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
PARTIES = {"carl": 2, "tove": 1, "box": 6}
SALT, LEAF = b"0123456789abcdef", b"\x07" * 32
PLACE = {"kind": "person", "party": "carl", "role": "clerk", "secure": False}
WEIGHED: dict[str, Any] = {"balance": "B1", "grams": "18.6", "zeroed": False}
HAPPENED = Happened(
    seq=7,
    event_id="5656fa8e-45d4-4238-aef4-612a20d2f14b",
    kind="tare weighed",
    sample=3,
    lot=2,
    tag=None,
    occurred_at=at_offset(datetime(2026, 6, 20, 18, 10, tzinfo=UTC), -300),
    recorded_at=datetime(2026, 6, 20, 18, 11, 2, 500, tzinfo=UTC),
    by="carl",
    role="clerk",
    data=WEIGHED,
    said={"note": "", "late_reason": "", "device": "office", "device_at": None},
    parties=PARTIES,
)


def as_kept(data: Any) -> str:
    """As the column of an event's data keeps it (storage.base.Plain)."""
    return json.dumps(data, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def long_way(happened: Happened, salt: bytes = SALT, previous: bytes | None = LEAF) -> str:
    return canonical(entry_of(happened, seal(salt, words_of(happened)), previous)).decode()


def columns_of(
    *happened: Happened, raw: str | None = None, salt: bytes | None = SALT, text: str = ""
) -> Columns:
    """As SQLite has them; raw: the data's text where it is not as the column writes it."""
    rows = []
    for one in happened:
        offset = one.occurred_at.utcoffset()
        assert offset is not None
        row = (one.seq, one.event_id, one.kind, one.sample, one.lot, one.tag, one.by, one.role)
        kept = as_kept(one.data) if raw is None else raw
        words = tuple(one.said[name] for name in ("note", "late_reason", "device", "device_at"))
        occurred, heard = (
            at.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S.%f") for at in (one.occurred_at, one.recorded_at)
        )
        moments = (occurred, offset // timedelta(minutes=1), heard)
        rows.append((*row, kept, *words, *moments, text, salt))
    return list(zip(*rows, strict=True))


def short_way(
    writer: EntryText, one: Happened, raw: str | None = None, previous: bytes | None = LEAF, **more: Any
) -> str | None:
    """None where nothing can be said."""
    (text,) = writer.written(columns_of(one, raw=raw, **more), [previous])
    return text


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"sample": None, "tag": 4},
        {"sample": None},
        {"sample": None, "lot": None},
        {"data": {}},
        {"data": {"to": PLACE, "waybill": None}},
        {"data": {"to": "tove", "place": {**PLACE, "shelf": "2"}}},
        {"data": {"entry": {"party": "tove", "why": "x"}}},
        {"data": {"condition": ["dry"], "discrepancy": None, "temperature_c": None, "seal_read": "S-1"}},
        {"data": {"condition": [], "findings": [{"code": "a", "constituents": [], "words": "b"}]}},
        {"data": {"condition": [1], "cutting": 2, "hours": 0}},
        {"data": {"body": {"picks": [{"bale": "2", "cores": "1"}, {"bale": "8", "cores": "1"}]}, "plan": 1}},
        {"data": {"reason": "Ca\u00f1a \u00abh\u00fameda\u00bb", "code": "PYTSZTP4"}},
        {"data": {"reason": 'a "word"\nand \\ more'}},
        {
            "said": {
                "note": "n\u00e4he",
                "late_reason": "why",
                "device": "phone",
                "device_at": "2026-06-20T14:00:00Z",
            }
        },
        {"occurred_at": at_offset(datetime(2026, 12, 31, 23, 59, 59, tzinfo=UTC), 345)},
    ],
)
def test_each_form_of_event_is_the_same_the_first_time_and_by_its_shape(changes: dict[str, Any]) -> None:
    one, writer = replace(HAPPENED, **changes), EntryText(PARTIES)
    for _ in range(3):
        assert short_way(writer, one) == long_way(one)
    assert short_way(writer, one, previous=None) == long_way(one, previous=None)


@pytest.mark.parametrize(
    ("first", "then"),
    [
        # Each would be taken for one of the first's shape if a shape were less strict.
        (
            {"to": {"a": {"party": "carl"}, "party": "tove"}},
            {"to": {"a": {"party": "tove"}, "party": "carl"}},
        ),
        ({"condition": [1]}, {"condition": ["dry"]}),
        ({"condition": [{"a": 1}]}, {"condition": []}),
        ({"a.b": 1}, {"acb": 1}),
        ({"to": PLACE}, {"to": {**PLACE, "role": ""}}),
        ({"reason": "x", "grams": "1"}, {"reason": "", "grams": "1"}),
        ({"findings": [{"a": 1}, {"a": 2}]}, {"findings": [{"a": 1}, {"b": 2}]}),
        ({"findings": [1, {"a": 2}]}, {"findings": [{"a": 2}, 1]}),
        ({"other": ["x"]}, {"other": []}),
    ],
)
def test_what_looks_like_data_seen_before_is_parted_by_itself(
    first: dict[str, Any], then: dict[str, Any]
) -> None:
    writer = EntryText(PARTIES)
    for data in (first, first, then, then):
        one = replace(HAPPENED, data=data)
        assert short_way(writer, one) == long_way(one)


def test_a_party_that_is_no_text_is_nobodys_number_where_others_are() -> None:
    writer, one = EntryText(PARTIES), replace(HAPPENED, data={"to": PLACE})
    assert short_way(writer, one) == long_way(one)
    nobody = replace(HAPPENED, data={"to": {**PLACE, "party": None}})
    assert short_way(writer, nobody) == long_way(nobody)


# What data can be, with names and values that lie near those which decide where a part goes.
NAMES = st.sampled_from(
    [*sorted(OPEN)[:6], "to", "place", "party", "kind", "note", "origin", "\u00e9", "\U0001f33e"]
)
SCALARS = (
    st.none() | st.booleans() | st.integers(-(2**60), 2**60) | st.sampled_from(["carl", "", "12", "e\u0301"])
)
VALUES = st.recursive(
    SCALARS | st.text(max_size=3) | st.just(PLACE),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=8,
)


@SLOWLY
@given(st.lists(st.dictionaries(NAMES, VALUES, max_size=4), min_size=1, max_size=6))
def test_whatever_is_written_the_short_way_is_what_the_long_way_writes(datas: list[dict[str, Any]]) -> None:
    writer = EntryText(PARTIES)
    # Twice, so that shapes which one has taught are tried on all the others.
    for data in [*datas, *datas]:
        one = replace(HAPPENED, data=data)
        written = short_way(writer, one)
        assert written is None or written == long_way(one)


@pytest.mark.parametrize(
    "raw",
    [
        '{"grams":"18.6","balance":"B1","zeroed":false}',
        '{"zeroed":false,"grams":"18.6","balance":"B1"}',
        '{"balance":"B1", "grams":"18.6","zeroed":false}',
        '{"balance":"B0","balance":"B1","grams":"18.6","zeroed":false}',
    ],
)
def test_data_in_another_form_is_never_taken_as_it_stands(raw: str) -> None:
    writer = EntryText(PARTIES)
    for given_raw in (raw, None, raw, raw):
        assert short_way(writer, HAPPENED, given_raw) == long_way(HAPPENED), "read and written again"


@pytest.mark.parametrize(
    "raw",
    [
        *("", "{", "[]", '"x"', "{}{}", '{"grams":18.6}', '{"grams":NaN}', '{"bale_count":9007199254740992}'),
        *('{"reason":"e\u0301"}', '{"\U0001f33e":1,"\ufb33":2}', '{"reason":"\\ud83c\\udf3e"}'),
        '{"to":{"kind":"person","party":"nobody","role":"clerk","secure":false}}',
    ],
)
def test_doubtful_data_is_left_to_the_long_way(raw: str) -> None:
    assert short_way(EntryText(PARTIES), HAPPENED, raw) is None


@pytest.mark.parametrize(
    "changes",
    [{"by": "nobody"}, {"sample": "3"}, {"lot": 2.0}, {"event_id": b"x"}, {"role": None}, {"seq": "7"}],
)
def test_a_column_of_another_kind_is_left_to_the_long_way(changes: dict[str, Any]) -> None:
    assert short_way(EntryText(PARTIES), replace(HAPPENED, **changes)) is None


def test_an_entry_whose_words_were_taken_out_is_believed_its_seal_alone() -> None:
    kept = long_way(HAPPENED)
    assert short_way(EntryText(PARTIES), HAPPENED, salt=None, text=kept) == kept
    heavier = replace(HAPPENED, data={**WEIGHED, "grams": "18.7"})
    assert short_way(EntryText(PARTIES), heavier, salt=None, text=kept) != kept
    assert short_way(EntryText(PARTIES), HAPPENED, salt=None, text=kept[:-30]) is None


@SLOWLY
@given(st.lists(st.dictionaries(NAMES, VALUES, max_size=4), min_size=2, max_size=9))
def test_many_at_once_are_written_as_one_at_a_time(datas: list[dict[str, Any]]) -> None:
    several = [replace(HAPPENED, seq=seq, data=data) for seq, data in enumerate(datas, 1)]
    leaves = [bytes([one.seq]) * 32 for one in several]
    found = EntryText(PARTIES).written(columns_of(*several), leaves)
    for one, leaf, written in zip(several, leaves, found, strict=True):
        assert written == short_way(EntryText(PARTIES), one, previous=leaf)


def test_a_doubtful_one_among_others_spoils_no_other() -> None:
    several = [replace(HAPPENED, seq=seq, by="nobody" if seq == 5 else "carl") for seq in range(1, 9)]
    found = EntryText(PARTIES).written(columns_of(*several), [None] * 8)
    assert found == [None if one.seq == 5 else long_way(one, previous=None) for one in several]


def test_a_moment_that_is_none_is_empty_and_spoils_no_other() -> None:
    good = "2026-06-20 18:10:00.000000"
    assert written_moments([good, "soon", good], [-300, 0, 90]) == [
        *("2026-06-20T13:10:00-05:00", "", "2026-06-20T19:40:00+01:30")
    ]
    assert written_moments(["2026-06-20 18:10:00+02:00"], [0]) == [""]
    assert written_moments(["2026-06-20 18:10:00.000500"], [0]) == ["2026-06-20T18:10:00.000500+00:00"]
    two_lines = ["2026-06-20 18:10\n00.000000", good]
    assert written_moments(two_lines, [0, 0]) == ["", "2026-06-20T18:10:00+00:00"]
    assert written_moments(two_lines, [60, 60]) == ["", "2026-06-20T19:10:00+01:00"]


@SLOWLY
@given(
    st.lists(
        st.tuples(
            st.datetimes().filter(lambda one: 1900 < one.year < 2100),
            st.sampled_from([0, -300, 345, 60, -210]),
        ),
        min_size=1,
        max_size=5,
    )
)
def test_moments_are_written_at_their_offsets_as_text_or_not(given_at: list[tuple[datetime, int]]) -> None:
    moments, offsets = zip(*given_at, strict=True)
    wanted = [at_offset(at.replace(tzinfo=UTC), offset).isoformat() for at, offset in given_at]
    assert written_moments(moments, offsets) == wanted
    assert written_moments([at.strftime("%Y-%m-%d %H:%M:%S.%f") for at in moments], offsets) == wanted
