"""A person is taken out, what happened stays, and the signed log and the tables still agree."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import inspect, select, text
from sqlalchemy.exc import IntegrityError

from tests.makers import (
    act,
    at,
    done,
    life,
    made,
    make_bag,
    make_received,
    make_signed_away,
    refused,
    standing,
)
from tests.phones import LOT as PHONE_LOT
from tests.phones import Phone, words
from tracker.lookups.log_audit import audit
from tracker.lookups.log_check import check_log
from tracker.steps.add_people import add_party
from tracker.steps.append_event import on_programme
from tracker.steps.erase_person import Erased, erase_person, erase_producer
from tracker.steps.hold import hold
from tracker.steps.sign_in import begin, make_account
from tracker.steps.take_entries import keep_pack_taken
from tracker.storage.access import Account, SignedIn
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.field import FieldContact, FieldEntry
from tracker.storage.kept import KeptRefusal
from tracker.storage.lots import Field, Lot
from tracker.storage.messages import MessageChoice
from tracker.storage.people import PartyRow, Producer, party
from tracker.storage.shares import ResultLink, TokenChange
from tracker.storage.tags import Tag


def erased(season: Database, key: str = "ulf", **more: Any) -> Erased:
    found: Erased = done(
        season, lambda s: erase_person(s, key, act(s, "lena", 3000), reason="asked for it", **more)
    )
    return found


def all_of(season: Database) -> str:
    """Every value of every table as one text."""
    with season.engine.connect() as connection:
        tables = inspect(connection).get_table_names()
        found = [row for name in tables for row in connection.execute(text(f'select * from "{name}"'))]
    assert len(found) > 20, "a season has people, rules and events"
    return "\n".join(map(repr, found))


def sound(season: Database) -> int:
    """The log is whole and is what was signed; how many entries' words are erased."""
    with season.read() as session:
        assert check_log(session).faults == ()
        found = audit(session, [])
    assert [
        fault.words for fault in found.faults if fault.what in ("entry", "words", "entries missing")
    ] == []
    return found.erased


def test_the_name_is_nowhere_any_more_and_what_happened_is_as_it_was(season: Database) -> None:
    sample = made(season, make_received)
    done(
        season,
        lambda s: hold(s, sample, act(s, "carl", 250, note="ask Ulf Brandt"), reason="ULF BRANDT knows why"),
    )
    season_refuses(season, note="Ulf Brandt said so")
    before = life(season, sample)
    found = erased(season)
    assert (found.entries, found.refusals, found.reports) == (1, 1, 0)
    assert "Ulf Brandt" not in all_of(season) and "ULF BRANDT" not in all_of(season)
    after = life(season, sample)
    assert [(one.seq, one.kind, one.by, one.occurred_at) for one in after] == [
        (one.seq, one.kind, one.by, one.occurred_at) for one in before
    ]
    assert after[-1].data["reason"] == f"{found.label} knows why" and after[-1].note == f"ask {found.label}"
    assert standing(season, sample).holds[0].reason == f"{found.label} knows why"
    assert sound(season) == 1


def season_refuses(season: Database, **given: Any) -> None:
    refused(season, lambda s: add_party(s, key="No Key", name="Ulf Brandt", role="clerk", now=at(0)), **given)


def test_the_way_in_is_ended(season: Database) -> None:
    done(season, lambda s: make_account(s, "ulf", "lena", at(0)))

    def come_in(session: Any) -> None:
        account = session.scalars(select(Account).where(Account.party_key == "ulf")).one()
        account.password_hash = "$argon2id$stands-for-one"
        begin(session, account, at(1))

    done(season, come_in)
    erased(season)
    with season.read() as session:
        account = session.scalars(select(Account).where(Account.party_key == "ulf")).one()
        assert (account.active, account.password_hash) == (False, None)
        assert session.scalars(select(SignedIn.ended_at)).one() is not None
        row = session.scalars(select(PartyRow).where(PartyRow.key == "ulf")).one()
        assert (row.name, row.role) == (f"Erased person {row.id}", "")


def test_the_events_say_who_erased_by_number_and_why(season: Database) -> None:
    erased(season)
    with season.read() as session:
        rows = session.scalars(select(EventRow).order_by(EventRow.seq.desc())).all()
        number = session.scalars(select(PartyRow.id).where(PartyRow.key == "ulf")).one()
    assert [(row.kind, row.by, row.data) for row in rows[:1]] == [
        ("person erased", "lena", {"person": str(number), "reason": "asked for it"})
    ]
    assert sound(season) == 0


def test_a_name_within_another_word_is_left_alone(season: Database) -> None:
    done(season, lambda s: add_party(s, key="x-1", name="Al", role="clerk", now=at(0)))
    sample = made(season, make_received)
    done(season, lambda s: hold(s, sample, act(s, "carl", 250), reason="Alfalfa? al says so"))
    found = erased(season, "x-1")
    assert life(season, sample)[-1].data["reason"] == f"Alfalfa? {found.label} says so"


@pytest.mark.parametrize(("key", "tells"), [("ulf", True), ("field-3", False)])
def test_a_short_name_that_tells_the_name_is_said(season: Database, key: str, tells: bool) -> None:
    if key != "ulf":
        done(season, lambda s: add_party(s, key=key, name="Ida Rowe", role="clerk", now=at(0)))
    assert erased(season, key).key_tells is tells


@pytest.mark.parametrize(
    ("by", "key", "code"),
    [("carl", "ulf", "not-allowed"), ("lena", "box", "not-a-person"), ("lena", "nobody", "unknown-party")],
)
def test_only_a_lead_erases_and_only_people(season: Database, by: str, key: str, code: str) -> None:
    found = refused(season, lambda s: erase_person(s, key, act(s, by, 1), reason="asked for it"))
    assert found.code == code


def test_nobody_is_erased_out_of_an_open_chain(season: Database) -> None:
    made(season, make_bag)
    found = refused(season, lambda s: erase_person(s, "tove", act(s, "lena", 90), reason="asked"))
    assert found.code == "still-holds" and "1 samples" in found.message
    made(season, make_signed_away, field="Hill")
    found = refused(season, lambda s: erase_person(s, "carl", act(s, "lena", 290), reason="asked"))
    assert found.code == "still-holds"


def test_a_producer_goes_with_his_address_and_where_his_fields_lie(season: Database) -> None:
    sample = made(season, make_received, note="Oda Meadow pays in cash")
    with season.act("place", "", {}) as session:
        session.execute(text("update field set latitude = '46.1', longitude = '-96.2'"))
    found = done(
        season, lambda s: erase_producer(s, "Oda Meadow", act(s, "lena", 3000), reason="asked for it")
    )
    assert "Oda Meadow" not in all_of(season)
    with season.read() as session:
        row = session.scalars(select(Producer)).one()
        assert (row.name, row.phone, row.email, row.place) == (found.label, "", "", "")
        assert session.scalars(select(Field.latitude)).all() == [None]
        assert session.scalars(select(Lot.note)).all() == [""]
    assert life(season, sample) and sound(season) == 0


def test_nobody_writes_to_an_erased_producer_and_no_search_finds_him(season: Database) -> None:
    def before(session: Any) -> None:
        oda = session.scalars(select(Producer)).one()
        told = {"producer_id": oda.id, "channel": "e-mail", "by": "lena", "at": at(0)}
        session.add(MessageChoice(**told, address="oda@farm.example", choice="wanted", how="said so"))
        session.add(
            ResultLink(
                token_hash="x" * 64,
                kind="adviser",
                producer_id=oda.id,
                lot_id=None,
                name="her vet",
                until=at(0).date(),
                made_by="lena",
                made_at=at(0),
            )
        )

    made(season, make_received)
    done(season, before)
    done(season, lambda s: erase_producer(s, "Oda Meadow", act(s, "lena", 3000), reason="asked for it"))
    left = all_of(season)
    for said in ("oda@farm.example", "her vet", "Oda Meadow", "meadow"):
        assert said not in left, said
    with season.read() as session:
        choices = session.scalars(select(MessageChoice).order_by(MessageChoice.id)).all()
        closed = {one.token_hash for one in session.scalars(select(TokenChange)) if one.change == "revoked"}
        stubs = set(session.scalars(select(Tag.token_hash)))
    assert [(one.choice, one.address) for one in choices] == [("wanted", ""), ("stopped", "")]
    assert closed == {"x" * 64, *stubs} and stubs
    assert sound(season) == 0


def test_no_words_are_written_anew_but_those_that_an_event_names(season: Database) -> None:
    sample = made(season, make_received)
    target = life(season, sample)[-1].seq

    def rewrite(session: Any, column: str = "note", value: str = "anew") -> None:
        session.execute(text(f'update event set "{column}" = :value where seq = {target}'), {"value": value})

    with pytest.raises(IntegrityError, match="event only grows"):
        done(season, rewrite)
    data = {"entries": [str(target)], "refusals": []}
    done(season, lambda s: on_programme(s, "words erased", data, act(s, "lena", 3000)))
    done(season, rewrite)
    for column, value in (("by", "ulf"), ("occurred_at", "2020-01-01 00:00:00.000000"), ("kind", "stored")):
        with pytest.raises(IntegrityError, match="event only grows"):
            done(season, lambda s, c=column, v=value: rewrite(s, c, v))
    # What was measured is in the signed entry: to write it anew shows, whatever an event names.
    done(season, lambda s: rewrite(s, "data", '{"condition":["damp"]}'))
    with season.read() as session:
        assert any(fault.seq == target for fault in audit(session, []).faults)


def test_no_refusal_goes_but_those_that_an_event_names(season: Database) -> None:
    season_refuses(season)
    with pytest.raises(IntegrityError, match="kept_refusal only grows"):
        done(season, lambda s: s.execute(text("delete from kept_refusal")))
    with season.read() as session:
        assert len(session.scalars(select(KeptRefusal.id)).all()) == 1


def test_what_phones_sent_is_written_anew_without_the_name_and_known_when_it_comes_again(
    season: Database,
) -> None:
    phone = Phone()
    lot = phone.entry("register lot", 10, {**PHONE_LOT, "producer": {"name": "Oda Meadow"}})
    again = phone.entry("register lot", 11, {**PHONE_LOT, "producer": {"name": "Oda Meadow"}, "note": "x"})
    done(season, lambda s: keep_pack_taken(s, phone.device, "Oda Meadow's phone", 0, party(s, "tove"), at(5)))
    phone.send(season, 300, lot, again)
    done(season, lambda s: erase_producer(s, "Oda Meadow", act(s, "lena", 3000), reason="asked for it"))
    with season.read() as session:
        bodies = [row.body for row in session.scalars(select(FieldEntry))]
        called = session.scalars(select(FieldContact.called)).all()
    assert len(bodies) == 2 and "Oda" not in repr((bodies, called)) and "Erased producer 1" in repr(called)
    assert words(phone.send(season, 3100, lot)) == ["duplicate"]


def test_what_a_phone_sent_is_written_anew_by_nobody_else(season: Database) -> None:
    phone = Phone()
    phone.send(season, 300, phone.entry("register lot", 10, PHONE_LOT))
    for change in ("body = '{}'", "device = 'x'"):
        with pytest.raises(IntegrityError), season.act("x", "lena", {}) as session:
            session.execute(text(f"update field_entry set {change}"))
