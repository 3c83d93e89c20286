"""The office's clock goes hours and days back and forth: the log keeps its order, and nobody gains or loses by it."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.bench import faults
from tests.databases import Databases
from tests.makers import act, at, done, life, made, make_lot, make_received, refused, standing
from tracker.domain.custody import in_order
from tracker.errors import Refused
from tracker.files.key_file import KeyFile
from tracker.lookups.access import signed_in
from tracker.lookups.log_audit import audit
from tracker.lookups.log_check import check_log
from tracker.steps.hold import hold, lift_hold
from tracker.steps.note_access import NOT_ALLOWED, note_access
from tracker.steps.sign_in import TRIES, begin, make_account, note_attempt, still_here
from tracker.steps.sign_log import is_due
from tracker.steps.undo import undo
from tracker.steps.weigh_in import weigh
from tracker.storage.access import AccessEntry, Account
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.log import LogHead

ACTS = 120
DAY = 24 * 60


@pytest.fixture
def jumping(databases: Databases, tmp_path: Path) -> Iterator[Database]:
    """A season that programs can work on, signed, with a clock that the test moves."""
    address = databases.empty(tmp_path)
    faults.build(address)
    key = KeyFile(tmp_path / "season.key")
    key.make("hay.example")
    season = Database(address, clock=lambda: at(300), key_file=key)
    yield season
    season.close()
    databases.drop(address)


def test_in_a_long_run_of_jumps_nothing_is_lost_and_the_log_keeps_its_order(jumping: Database) -> None:
    rng, said = random.Random(3), list[faults.Told]()
    for _ in range(ACTS):
        hours = rng.choice(faults.HOURS)
        jumping.clock = lambda hours=hours: at(300 + 60 * hours)  # type: ignore[misc]
        faults.act_once(jumping, rng, said.append)
    report = faults.Report("jumps", 3)
    faults.judge(jumping.url, said, report)
    # What is before something recorded already is not taken for granted: it is asked for a reason.
    assert set(report.refused) <= {"out-of-order", "late-entry-breaks-chain"} and report.refused
    assert sum(report.confirmed.values()) > ACTS / 2 and not report.lost and not report.halves
    assert jumping.key_file is not None
    key = jumping.key_file.key()
    assert key is not None
    with jumping.read() as session:
        assert audit(session, key.known).clean and check_log(session).whole
        numbers = session.scalars(select(EventRow.seq).order_by(EventRow.seq)).all()
        recorded = session.scalars(select(EventRow.recorded_at).order_by(EventRow.seq)).all()
        sizes = session.scalars(select(LogHead.size).order_by(LogHead.id)).all()
    assert list(numbers) == list(range(1, len(numbers) + 1))
    assert list(sizes) == sorted(sizes) and len(sizes) > 10
    assert list(recorded) != sorted(recorded), "the clock did not jump at all"


def test_a_weight_after_the_clock_went_back_is_asked_for_a_reason_and_then_stands(season: Database) -> None:
    sample = made(season, make_received)

    def again(**more: str):  # type: ignore[no-untyped-def]
        return lambda s: weigh(s, sample, "tare", "18.6", act(s, "carl", 240 - DAY, **more))

    assert refused(season, again(), by="carl").code == "out-of-order"
    late = again(late_reason="the clock was wrong")
    assert refused(season, late, by="carl").code == "wrong-state", "it was not received by then"
    done(season, lambda s: weigh(s, sample, "tare", "18.6", act(s, "carl", 241)))
    assert [event.kind for event in in_order(life(season, sample))][-1] == "tare weighed"


def test_a_hold_set_while_the_clock_ran_ahead_holds_until_somebody_decides_after_it(season: Database) -> None:
    sample = made(season, make_received)
    done(season, lambda s: hold(s, sample, act(s, "lena", 300 + DAY), reason="mould"))

    def lift(minute: float, **more: str):  # type: ignore[no-untyped-def]
        return lambda s: lift_hold(s, sample, act(s, "lena", minute, **more), reason="looked at")

    assert refused(season, lift(310), by="lena").code == "out-of-order"
    refused(season, lift(310, late_reason="the clock was a day ahead"), by="lena")
    assert standing(season, sample).on_hold
    done(season, lift(301 + DAY))
    assert not standing(season, sample).on_hold


def test_a_head_that_was_dated_ahead_does_not_keep_the_log_unsigned(jumping: Database) -> None:
    jumping.clock = lambda: at(300 + 2 * DAY)
    done(jumping, lambda s: make_lot(s, field="ahead"))
    with jumping.act("head", "lena", {}) as session:
        ahead = at(300 + 2 * DAY)
        session.add(LogHead(size=1, note="dated ahead", at=ahead))
    with jumping.read() as session:
        assert is_due(session, at(300))
        assert not is_due(session, ahead + timedelta(minutes=59))


def in_as(season: Database, key: str, minute: float) -> str:
    with season.act("sign in", key, {}) as session:
        make_account(session, key, key, at(0))
        account = session.scalars(select(Account).where(Account.party_key == key)).one()
        return begin(session, account, at(minute))


def test_a_sign_in_of_a_clock_that_ran_ahead_ends_when_the_clock_is_right(season: Database) -> None:
    token = in_as(season, "carl", 3 * DAY)
    with season.read() as session:
        assert signed_in(session, token, at(3 * DAY + 1)) is not None
        assert signed_in(session, token, at(3 * DAY - 4)) is not None, "clocks differ by minutes"
        assert signed_in(session, token, at(0)) is None


def test_use_noted_by_a_clock_that_ran_ahead_is_noted_anew_and_lengthens_nothing(season: Database) -> None:
    token = in_as(season, "carl", 0)
    done(season, lambda s: still_here(s, token, at(6 * 60)))
    with season.read() as session:
        found = signed_in(session, token, at(10))
        assert found is not None and found.stale
        assert signed_in(session, token, at(12 * 60 + 1)) is None


def test_wrong_tries_that_were_dated_ahead_shut_nobody_out_for_days(season: Database) -> None:
    for _ in range(TRIES):
        done(season, lambda s: note_attempt(s, "sign in as x", at(2 * DAY)))
    with pytest.raises(Refused), season.act("try", "", {}) as session:
        note_attempt(session, "sign in as x", at(2 * DAY + 1))
    done(season, lambda s: note_attempt(s, "sign in as x", at(0)))


def test_what_was_turned_away_is_noted_although_an_entry_is_dated_ahead(season: Database) -> None:
    for minute in (2 * DAY, 0, 0.5):
        done(season, lambda s, minute=minute: note_access(s, at(minute), NOT_ALLOWED, "carl", "192.0.2.1"))
    with season.read() as session:
        assert len(session.scalars(select(AccessEntry)).all()) == 2


def test_an_entry_dated_ahead_cannot_be_taken_back_for_days(season: Database) -> None:
    sample = made(season, make_received)
    row = done(season, lambda s: weigh(s, sample, "tare", "18.6", act(s, "carl", 300 + DAY)))
    (seq,) = [event.seq for event in life(season, sample) if event.event_id == row.event_id]
    assert refused(season, lambda s: undo(s, seq, act(s, "carl", 301)), by="carl").code == "too-late-to-undo"
