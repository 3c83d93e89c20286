"""A question put into words once says through the driver what it says through a session."""

from __future__ import annotations

import sqlite3
from datetime import timedelta

import pytest
from sqlalchemy import bindparam, literal_column, select, text
from sqlalchemy.exc import DBAPIError

from tests.storage.conftest import NOON, Raw
from tracker.errors import Unavailable
from tracker.storage.engine import MORE, POOL, Database
from tracker.storage.people import PartyRow
from tracker.storage.questions import Question

PEOPLE = Question(
    select(PartyRow.key, PartyRow.name, PartyRow.secure, PartyRow.added_at)
    # One value that the statement says itself, between those that are given with it.
    .where(PartyRow.added_at > bindparam("since"), PartyRow.kind == "place", PartyRow.key != bindparam("but"))
    .order_by(PartyRow.key)
)
BROKEN = Question(select(literal_column("1").label("one")).select_from(text("no_such_table")))


@pytest.fixture
def peopled(database: Database) -> Database:
    with database.act("people", "ines", {}) as session:
        for days, (key, kind) in enumerate([("mill", "place"), ("store", "place"), ("tove", "person")]):
            session.add(
                PartyRow(
                    key=key,
                    name=f"{key}'s name",
                    kind=kind,
                    role="",
                    secure=key == "store",
                    added_at=NOON + timedelta(days=days),
                )
            )
    return database


def test_the_driver_answers_as_a_session_does_with_moments_and_truths_read_by_their_columns(
    peopled: Database,
) -> None:
    given = {"since": NOON - timedelta(days=1), "but": "nobody"}
    with peopled.read() as session:
        by_session = [tuple(row) for row in PEOPLE.rows(session, **given)]
    with peopled.ask() as asked:
        rows = PEOPLE.rows(asked, **given)
    assert [tuple(row) for row in rows] == by_session
    assert [(row.key, row.secure, row.added_at) for row in rows] == [
        ("mill", False, NOON),
        ("store", True, NOON + timedelta(days=1)),
    ]
    assert rows[1].secure is True


def test_every_value_counts_and_none_is_left_over_from_the_question_before(peopled: Database) -> None:
    with peopled.ask() as asked:
        assert PEOPLE.first(asked, since=NOON, but="").key == "store"
        assert PEOPLE.first(asked, since=NOON, but="store") is None
        assert PEOPLE.first(asked, since=NOON - timedelta(days=1), but="").key == "mill"


def test_a_value_that_is_missing_is_not_taken_for_nothing(peopled: Database) -> None:
    with peopled.ask() as asked, pytest.raises(KeyError, match="but"):
        PEOPLE.rows(asked, since=NOON)


def test_a_moment_without_an_offset_is_asked_for_no_more_than_it_is_kept(peopled: Database) -> None:
    with peopled.ask() as asked, pytest.raises(TypeError, match="without an offset"):
        PEOPLE.rows(asked, since=NOON.replace(tzinfo=None), but="")


def test_each_question_sees_what_was_recorded_before_it(peopled: Database, raw: Raw) -> None:
    with peopled.ask() as asked:
        assert PEOPLE.first(asked, since=NOON, but="").name == "store's name"
        raw("update party set name = 'another' where key = 'store'")
        assert PEOPLE.first(asked, since=NOON, but="").name == "another"


def test_a_fault_of_ours_is_told_as_a_session_tells_it_and_the_next_question_is_answered(
    peopled: Database,
) -> None:
    with pytest.raises(DBAPIError, match="no_such_table"), peopled.read() as session:
        BROKEN.rows(session)
    # More often than there are connections.
    for _ in range(POOL + MORE + 1):
        with pytest.raises(DBAPIError, match="no_such_table"), peopled.ask() as asked:
            BROKEN.rows(asked)
    with peopled.ask() as asked:
        assert PEOPLE.first(asked, since=NOON, but="") is not None


def test_a_connection_that_was_cut_is_said_to_be_away_and_the_next_one_answers(
    peopled: Database, raw: Raw
) -> None:
    if peopled.file is not None:
        moved = peopled.file.rename(peopled.file.with_suffix(".moved"))
        with pytest.raises(Unavailable) as caught, peopled.ask():
            pass
        moved.rename(peopled.file)
    else:
        with pytest.raises(Unavailable) as caught, peopled.ask() as asked:
            raw(
                "select pg_terminate_backend(pid) from pg_stat_activity "
                "where datname = current_database() and pid <> pg_backend_pid()"
            )
            PEOPLE.rows(asked, since=NOON, but="")
    assert caught.value.code == "database-away"
    with peopled.ask() as asked:
        assert PEOPLE.first(asked, since=NOON, but="") is not None


def test_a_connection_to_a_file_is_kept_for_the_next_question_unless_it_failed(peopled: Database) -> None:
    if peopled.file is None:
        pytest.skip("a server's connections are the pool's")
    with peopled.ask() as first, peopled.ask() as beside:
        assert first.connection is not beside.connection
        # Neither takes a place from the acts.
        assert peopled.engine.pool.checkedout() == 0  # type: ignore[attr-defined]
    with peopled.ask() as again:
        assert again.connection is first.connection
    with pytest.raises(ValueError, match="no fault"), peopled.ask():
        raise ValueError("no fault of the driver's")
    with pytest.raises(DBAPIError), peopled.ask() as failed:
        assert failed.connection is first.connection
        BROKEN.rows(failed)
    with peopled.ask() as asked:
        assert asked.connection is beside.connection
        assert [row.key for row in PEOPLE.rows(asked, since=NOON - timedelta(days=1), but="mill")] == [
            "store"
        ]
    peopled.close()
    for closed in (first, beside):
        with pytest.raises(sqlite3.ProgrammingError, match="closed database"):
            closed.connection.execute("select 1")
