"""What is true of a season on a database server only: lost connections, accounts, and a queue of the server's own."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from sqlalchemy import event, func, select, text
from sqlalchemy.exc import ProgrammingError

from tests.databases import Cluster, name_in
from tests.storage.conftest import NOON, Raw
from tests.storage.test_engine import count, make_producer
from tracker.errors import Conflict, NotFound, Unavailable
from tracker.storage import engine as engine_module
from tracker.storage.engine import WRITERS_LOCK, Database
from tracker.storage.kept import KeptRefusal
from tracker.storage.people import Producer
from tracker.storage.schema import APPEND_ONLY, METADATA

ONLY_ON = ("postgresql",)
# Every connection to the database but the one that asks.
CUT = (
    "select count(pg_terminate_backend(pid)) from pg_stat_activity "
    "where datname = current_database() and pid <> pg_backend_pid()"
)


def test_after_all_connections_were_cut_the_next_act_and_question_find_the_database(
    database: Database, raw: Raw
) -> None:
    assert count(database, Producer) == 0
    with database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
    [(cut,)] = raw(CUT)
    assert cut > 0
    assert count(database, Producer) == 1
    raw(CUT)
    with database.act("add-producer", "ines", {}) as session:
        session.add(make_producer("Per Aas"))
    assert count(database, Producer) == 2


def test_an_act_whose_connection_is_cut_is_said_not_to_be_recorded(database: Database, raw: Raw) -> None:
    with pytest.raises(Unavailable) as caught, database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
        session.flush()
        raw(CUT)
        session.scalar(select(func.count()).select_from(Producer))
    assert caught.value.code == "database-away"
    assert count(database, Producer) == 0


def test_a_question_whose_connection_is_cut_is_answered_with_a_refusal(database: Database, raw: Raw) -> None:
    with pytest.raises(Unavailable) as caught, database.read() as session:
        session.scalar(select(func.count()).select_from(Producer))
        raw(CUT)
        session.scalar(select(func.count()).select_from(Producer))
    assert caught.value.code == "database-away"


def test_where_the_connection_is_cut_on_the_last_step_nobody_is_told_that_nothing_was_recorded(
    database: Database, raw: Raw
) -> None:
    def cut(connection: object) -> None:
        raw(CUT)

    event.listen(database.engine, "commit", cut)
    with pytest.raises(Conflict) as caught, database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
    event.remove(database.engine, "commit", cut)
    assert caught.value.code == "perhaps-recorded"
    assert "before you enter it again" in caught.value.remedy


def test_an_act_waits_for_others_no_longer_than_it_may(
    database: Database, raw: Raw, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        engine_module, "BEGIN_WRITING", engine_module.BEGIN_WRITING.replace("= 30000", "= 100")
    )
    raw(f"select pg_advisory_lock({WRITERS_LOCK})")
    with pytest.raises(Unavailable) as caught, database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
    assert caught.value.code == "database-busy"
    raw("select pg_advisory_unlock_all()")
    with database.act("add-producer", "ines", {}) as session:
        session.add(make_producer())


@pytest.fixture
def clerk(databases: Cluster, database: Database) -> Iterator[Database]:
    """The same season as the account of the pages sees it."""
    databases.execute("create role pages login")
    database.migrate(let="pages")
    made = Database(databases.address(name_in(database.url), "pages"), clock=lambda: NOON)
    yield made
    made.close()
    databases.drop(database.url)
    databases.execute("drop role pages")


def test_the_account_of_the_pages_reads_and_adds(clerk: Database) -> None:
    clerk.check_version()
    with clerk.act("add-producer", "ines", {}) as session:
        session.add(make_producer())
    with pytest.raises(NotFound), clerk.act("ask", "ines", {"a": "b"}):
        raise NotFound("unknown-lot", "There is no lot 7.", remedy="Look.")
    assert (count(clerk, Producer), count(clerk, KeptRefusal)) == (1, 1)


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_the_account_of_the_pages_cannot_change_what_only_grows(clerk: Database, table: str) -> None:
    key = next(iter(METADATA.tables[table].primary_key.columns)).name
    for statement in (
        f'update {table} set "{key}" = null',
        f"delete from {table}",
        f"truncate {table}",
        f"alter table {table} disable trigger all",
        f"drop table {table}",
    ):
        with (
            pytest.raises(ProgrammingError, match=r"permission denied|must be owner"),
            clerk.act("x", "ines", {}) as session,
        ):
            session.execute(text(statement))


def test_the_account_of_the_pages_makes_no_tables_and_changes_no_version(clerk: Database) -> None:
    for statement in ("create table x (i int)", "update alembic_version set version_num = '0001'"):
        with (
            pytest.raises(ProgrammingError, match="permission denied"),
            clerk.act("x", "ines", {}) as session,
        ):
            session.execute(text(statement))


def test_an_account_once_let_in_has_its_rights_on_what_a_later_version_brings(
    clerk: Database, database: Database
) -> None:
    with database.engine.begin() as connection:
        connection.execute(text("revoke all on photo from pages"))
    database.migrate()
    with clerk.read() as session:
        assert session.scalar(text("select count(*) from photo")) == 0


def test_an_account_that_is_not_there_is_not_let_in(database: Database) -> None:
    with pytest.raises(NotFound) as caught:
        database.migrate(let="nobody at all")
    assert caught.value.code == "unknown-account"


def test_the_log_has_no_holes_where_an_act_was_taken_back(database: Database) -> None:
    # A sequence of the server would leave one; the log's numbers are counted under the writers' lock.
    column = METADATA.tables["event"].columns["seq"]
    assert column.autoincrement is False and column.default is None and column.server_default is None
