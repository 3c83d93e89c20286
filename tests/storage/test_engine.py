"""The database: an act is kept whole or not at all, and what was refused is kept beside it."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from pathlib import Path
from threading import Barrier

import pytest
from sqlalchemy import func, inspect, select, text
from sqlalchemy.exc import DBAPIError, IntegrityError

from tests.databases import Databases
from tests.storage.conftest import NOON, Raw
from tracker.errors import Conflict, NotFound, Refused
from tracker.storage.engine import WRITERS_LOCK, Database, newest_version
from tracker.storage.kept import KeptRefusal
from tracker.storage.people import PartyRow, Producer


def make_producer(name: str = "Nora Blomqvist") -> Producer:
    return Producer(name=name, phone="", email="", place="", added_at=NOON)


def count(database: Database, table: type[Producer] | type[KeptRefusal]) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(table)) or 0


def refuse() -> None:
    raise Refused(
        "not-a-weight",
        "0 g is not a weight.",
        field="grams",
        line=4,
        remedy="Was the tare left on? Weigh again.",
    )


def test_an_act_that_ends_well_is_kept(database: Database) -> None:
    with database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
    assert count(database, Producer) == 1
    assert count(database, KeptRefusal) == 0


@pytest.mark.parametrize("error", [Refused, Conflict, NotFound])
def test_of_a_refused_act_nothing_is_kept_but_the_refusal(database: Database, error: type[Refused]) -> None:
    with pytest.raises(error), database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
        session.flush()
        raise error("some-code", "No.", remedy="Do otherwise.")
    assert count(database, Producer) == 0
    assert count(database, KeptRefusal) == 1


def test_a_refusal_is_kept_with_the_values_that_were_given(database: Database) -> None:
    given = {"grams": Decimal("250.0"), "sack": None, "code": "7K2M9QXQ"}
    with pytest.raises(Refused), database.act("weigh-in", "amos", given):
        refuse()
    with database.read() as session:
        kept = session.scalars(select(KeptRefusal)).one()
    assert (kept.act, kept.by, kept.at) == ("weigh-in", "amos", NOON)
    assert kept.given == {"grams": "250.0", "sack": None, "code": "7K2M9QXQ"}
    assert (kept.code, kept.message, kept.field, kept.line) == (
        "not-a-weight",
        "0 g is not a weight.",
        "grams",
        4,
    )
    assert kept.remedy == "Was the tare left on? Weigh again."


def test_of_an_act_that_breaks_nothing_at_all_is_kept(database: Database) -> None:
    with pytest.raises(ZeroDivisionError), database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
        session.flush()
        raise ZeroDivisionError
    assert count(database, Producer) == 0
    assert count(database, KeptRefusal) == 0


def test_after_a_refusal_the_next_act_finds_the_database_free(database: Database) -> None:
    with pytest.raises(Refused), database.act("weigh-in", "amos", {}):
        refuse()
    with database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
    assert count(database, Producer) == 1


def test_a_question_keeps_nothing(database: Database) -> None:
    with database.read() as session:
        session.add(make_producer())
        session.flush()
    assert count(database, Producer) == 0


def can_write(raw: Raw) -> bool:
    """Whether another program could begin to write."""
    if raw.file is None:
        [(got,)] = raw(f"select pg_try_advisory_lock({WRITERS_LOCK})")
        raw("select pg_advisory_unlock_all()")
        return bool(got)
    try:
        raw("BEGIN IMMEDIATE")
    except sqlite3.OperationalError:
        return False
    raw("ROLLBACK")
    return True


def test_an_act_has_the_write_lock_from_its_first_question(database: Database, raw: Raw) -> None:
    with database.act("add-producer", "ines", {}) as session:
        session.scalar(select(func.count()).select_from(Producer))
        assert not can_write(raw)
    assert can_write(raw)


def test_a_question_holds_nobody_up_and_sees_one_moment(database: Database, raw: Raw) -> None:
    with database.read() as session:
        before = session.scalar(select(func.count()).select_from(Producer))
        assert can_write(raw)
        with database.act("add-producer", "ines", {}) as acting:
            acting.add(make_producer())
        assert session.scalar(select(func.count()).select_from(Producer)) == before == 0
    assert count(database, Producer) == 1


def test_two_people_who_change_the_same_thing_at_once_lose_nothing(database: Database) -> None:
    with database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
    together = Barrier(2)

    def visit(name: str) -> None:
        for _ in range(15):
            together.wait(timeout=10)
            with database.act("edit", name, {}) as session:
                # Read, think, write: without the lock from the start one of two would be written over.
                producer = session.scalars(select(Producer)).one()
                producer.place = producer.place + name

    with ThreadPoolExecutor(2) as threads:
        list(threads.map(visit, "ab"))
    with database.read() as session:
        written = session.scalars(select(Producer.place)).one()
    assert (written.count("a"), written.count("b")) == (15, 15)


KILLED = """
import os, sys
from datetime import UTC, datetime
from tracker.storage.engine import Database
from tracker.storage.people import Producer

database = Database(sys.argv[1])
with database.act("add-producer", "ines", {}) as session:
    session.add(Producer(name="Nora Blomqvist", phone="", email="", place="", added_at=datetime.now(UTC)))
    session.flush()
    print(session.query(Producer).count(), flush=True)
    os._exit(9)
"""


def test_a_program_killed_before_it_confirmed_leaves_nothing(database: Database) -> None:
    killed = subprocess.run(
        [sys.executable, "-c", KILLED, database.url],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
        timeout=30,
    )
    assert (killed.returncode, killed.stdout.strip()) == (9, "1"), killed.stderr
    assert count(database, Producer) == 0


def test_nothing_points_at_somebody_who_is_not_there(database: Database) -> None:
    with pytest.raises(IntegrityError), database.act("bind", "ines", {}) as session:
        session.execute(text("insert into sample (lot_id, number) values (99, 1)"))


def test_a_party_is_a_person_a_place_or_a_carrier(database: Database) -> None:
    with pytest.raises(IntegrityError), database.act("add-person", "ines", {}) as session:
        session.add(PartyRow(key="dog", name="Rex", kind="dog", role="", secure=False, added_at=NOON))


def test_migrating_again_changes_nothing(database: Database) -> None:
    with database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
    database.migrate()
    database.check_version()
    assert count(database, Producer) == 1


def test_a_database_that_is_not_there_is_said_to_be_missing(databases: Databases, tmp_path: Path) -> None:
    address = databases.empty(tmp_path)
    empty = Database(address)
    with pytest.raises(NotFound) as caught:
        empty.check_version()
    empty.close()
    databases.drop(address)
    assert caught.value.code == "database-missing"
    assert str(empty.engine.url.database) in caught.value.message


def test_a_database_of_another_version_is_not_worked_on(database: Database) -> None:
    with database.act("age", "ines", {}) as session:
        session.execute(text("update alembic_version set version_num = '0001'"))
    with pytest.raises(NotFound) as caught:
        database.check_version()
    assert caught.value.code == "database-version"
    assert "0001" in caught.value.message
    assert newest_version() in caught.value.message


def test_a_migration_that_breaks_leaves_the_database_as_it_was(
    databases: Databases, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(statement: str) -> None:
        raise ZeroDivisionError(statement)

    # Only the second migration executes plain SQL: the tables of the first have been made by then.
    monkeypatch.setattr("alembic.op.execute", broken)
    address = databases.empty(tmp_path)
    database = Database(address)
    with pytest.raises(ZeroDivisionError):
        database.migrate()
    with database.engine.connect() as connection:
        assert inspect(connection).get_table_names() == []
    database.close()
    databases.drop(address)


def test_a_refusal_is_said_even_where_it_cannot_be_kept(database: Database) -> None:
    with database.act("drop", "ines", {}) as session:
        session.execute(text("drop table kept_refusal"))
    with pytest.raises(Refused) as caught, database.act("weigh", "ines", {}):
        refuse()
    assert caught.value.code == "not-a-weight"


def test_a_fault_of_the_program_does_not_pass_for_a_busy_database(database: Database) -> None:
    with pytest.raises(DBAPIError, match="shoe_size"), database.act("x", "ines", {}) as session:
        session.execute(text("select shoe_size from party"))
