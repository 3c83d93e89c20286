"""Everything that happens goes into the signed log, in the act in which it happens, on every database."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from tests.makers import (
    LOT,
    SEAL,
    act,
    at,
    done,
    life,
    make_bag,
    make_dried,
    make_lot,
    make_received,
    make_sealed,
    make_tag,
    refused,
)
from tracker.domain.signed_head import read_head
from tracker.files.key_file import KeyFile
from tracker.lookups.log_audit import Audit, audit
from tracker.steps.bag_cores import seal_bag
from tracker.steps.change_log_key import change_log_key
from tracker.steps.hand_over import relinquish
from tracker.steps.register_lot import NewLot, register_lot
from tracker.steps.sign_log import EVERY, sign
from tracker.storage.custody import StandingRow
from tracker.storage.engine import Database
from tracker.storage.log import entries, last_head
from tracker.storage.people import party


@pytest.fixture
def signed(season: Database, tmp_path: Path) -> Database:
    season.key_file = KeyFile(tmp_path / "season.key")
    season.key_file.make("hay.example")
    return season


def audited(season: Database) -> Audit:
    assert season.key_file is not None
    key = season.key_file.key()
    assert key is not None
    with season.read() as session:
        return audit(session, key.known)


def head_size(season: Database) -> int:
    with season.read() as session:
        head = last_head(session)
    return head.size if head else 0


def test_a_whole_life_is_in_the_log_and_agrees_with_it(signed: Database) -> None:
    done(signed, make_dried)
    done(signed, lambda s: make_tag(s))
    found = audited(signed)
    assert found.faults == []
    # The lot, the plan, the cores, the tag printed and bound, the bag, the seal, two hands, two weights, the oven in
    # and out, the dry weight, and the second tag.
    assert found.entries == 15


def test_a_hand_over_is_under_a_head_at_once(signed: Database) -> None:
    sample = done(signed, make_sealed)
    done(signed, lambda s: relinquish(s, sample, party(s, "carl"), act(s, "tove", 200)))
    with signed.read() as session:
        assert head_size(signed) == entries(session)


def test_the_first_entry_after_an_hour_without_a_head_brings_one(signed: Database) -> None:
    done(signed, lambda s: make_lot(s, field="One"))
    assert head_size(signed) == 1
    done(signed, lambda s: make_lot(s, field="Two"))
    assert head_size(signed) == 1
    with signed.act("make", "tove", {}) as session:
        head = last_head(session)
        assert head is not None
        hours = (head.at + EVERY - at(0)) / timedelta(minutes=1)
        register_lot(session, NewLot(**{**vars(LOT), "field": "Three"}), act(session, "tove", hours))
    assert head_size(signed) == 3


def test_a_refused_act_leaves_no_entry_and_the_log_goes_on(signed: Database) -> None:
    sample = done(signed, make_sealed)
    before = audited(signed).entries
    refused(signed, lambda s: relinquish(s, sample, party(s, "carl"), act(s, "ulf", 200)))
    assert audited(signed).entries == before
    done(signed, lambda s: relinquish(s, sample, party(s, "carl"), act(s, "tove", 200)))
    assert audited(signed).faults == []


def test_what_is_rolled_back_within_an_act_leaves_no_trace_in_the_tree(signed: Database) -> None:
    with signed.act("make", "tove", {}) as session:
        make_bag(session, field="Kept")
        part = session.begin_nested()
        make_bag(session, field="Taken back")
        part.rollback()
        make_bag(session, field="After it")
    found = audited(signed)
    assert (found.faults, found.entries) == ([], 12)


def test_a_head_is_signed_once_for_the_same_log(signed: Database) -> None:
    done(signed, make_bag)
    heads = {str(done(signed, lambda s: sign(s, at(300)))) for _ in range(3)}
    assert len(heads) == 1
    (note,) = heads
    assert read_head(note).size == 6
    # The first with the first entry, the second with the bag an hour later, the third on demand, three times asked.
    assert audited(signed).heads == 3


def test_a_key_that_changes_keeps_the_whole_log_good(signed: Database) -> None:
    done(signed, make_bag)
    done(signed, lambda s: change_log_key(s, act(s, "lena", 300), reason="a year is over"))
    done(signed, lambda s: make_received(s, field="Hill"))
    found = audited(signed)
    assert (found.faults, found.unsigned) == ([], 0)
    assert (
        refused(signed, lambda s: change_log_key(s, act(s, "ana", 400), reason="why not")).code
        == "not-allowed"
    )
    assert (
        refused(signed, lambda s: change_log_key(s, act(s, "lena", 400), reason=" ")).code == "reason-missing"
    )


def test_without_a_key_everything_is_recorded_and_nothing_signed(season: Database) -> None:
    done(season, make_received)
    with season.read() as session:
        assert entries(session) > 8 and last_head(session) is None
    assert (
        refused(season, lambda s: change_log_key(s, act(s, "lena", 400), reason="a year")).code
        == "log-key-missing"
    )


def test_a_head_is_dated_when_it_is_signed_and_not_when_a_late_entry_was_heard_of(signed: Database) -> None:
    sample = done(signed, make_received)
    signed.clock = lambda: at(600)
    done(signed, lambda s: relinquish(s, sample, party(s, "ana"), act(s, "carl", 250)))
    with signed.read() as session:
        head = last_head(session)
    assert head is not None and head.at == at(600)


def test_what_a_savepoint_takes_back_leaves_nothing_behind_in_the_act(season: Database) -> None:
    sample = done(season, make_bag)
    with season.act("seal", "tove", {}) as session:
        standing = session.get_one(StandingRow, sample.id)
        with pytest.raises(IntegrityError) as caught, session.begin_nested():
            seal_bag(session, sample, SEAL, act(session, "tove", 70))
            assert standing.state == "sealed"
            session.execute(text("insert into party (key) values ('tove')"))
        # The fault is still in hand, and with it whatever it knows of.
        assert caught.value and standing.state == "bagged"
        assert seal_bag(session, sample, SEAL, act(session, "tove", 71)).seq
        assert standing.state == "sealed"
    assert [one.kind for one in life(season, sample)].count("sealed") == 1
