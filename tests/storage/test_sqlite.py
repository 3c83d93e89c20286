"""What is true of a season in one file only."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import text

from tests.bench import faults
from tests.databases import Databases
from tests.disks import allow_pages
from tests.storage.test_full_disk import opened, tried
from tracker.errors import Unavailable
from tracker.lookups.bench_queue import waiting
from tracker.storage.engine import Database

ONLY_ON = ("sqlite",)


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),
        ("foreign_keys", 1),
        ("recursive_triggers", 1),
        ("busy_timeout", 30_000),
    ],
)
def test_every_connection_writes_through_checks_references_and_waits(
    database: Database, pragma: str, value: object
) -> None:
    # sqlite.org/pragma.html: synchronous 2 is FULL, the log reaches the disk before a commit returns.
    with database.read() as session:
        assert session.scalar(text(f"pragma {pragma}")) == value


def test_a_season_that_may_not_grow_refuses_in_words_and_goes_on_when_it_may(
    databases: Databases, tmp_path: Path
) -> None:
    address = databases.empty(tmp_path)
    faults.build(address)
    season = opened(address)
    with season.engine.connect() as connection:
        pages = connection.exec_driver_sql("pragma page_count").scalar_one()
    allow_pages(season, pages + 20)

    def make_room() -> Database:
        season.close()
        return opened(address)

    tried(address, season, make_room)


def test_where_sqlite_took_an_act_back_by_itself_nothing_more_of_it_is_kept(database: Database) -> None:
    with database.act("begin", "ines", {}) as session:
        session.execute(text("create table heap (what text)"))
    with database.engine.connect() as connection:
        pages = connection.exec_driver_sql("pragma page_count").scalar_one()
    allow_pages(database, pages + 5)
    with pytest.raises(Unavailable) as caught, database.act("fill", "ines", {}) as session:
        session.execute(text("insert into heap values ('first')"))
        try:
            session.execute(text("insert into heap values (zeroblob(1000000))"))
        except Exception:
            # Whoever carries on all the same, as somebody with a savepoint may, writes nothing more.
            session.execute(text("insert into heap values ('more')"))
    assert caught.value.code == "disk-full"
    with database.read() as session:
        assert session.scalar(text("select count(*) from heap")) == 0
    with database.act("fill", "ines", {}) as session:
        session.execute(text("insert into heap values ('again')"))


def moved(season: Database, to: Path) -> None:
    assert season.file is not None
    season.file.rename(to)


def test_a_season_that_was_moved_away_is_left_alone_until_it_is_back(
    database: Database, tmp_path: Path
) -> None:
    assert database.file is not None
    with database.read() as session:
        waiting(session)
    moved(database, tmp_path / "elsewhere.db")
    for way in (database.read, lambda: database.act("add", "ines", {})):
        with pytest.raises(Unavailable) as caught, way():
            pytest.fail("worked on a file that is not there")
        assert caught.value.code == "database-away"
    with pytest.raises(Unavailable):
        database.check_version()
    database.engine.dispose()
    with pytest.raises(Unavailable), database.read():
        pytest.fail("made an empty season")
    assert not database.file.exists()
    (tmp_path / "elsewhere.db").rename(database.file)
    with database.act("add", "ines", {}) as session:
        session.execute(text("create table heap (what text)"))


def test_another_file_in_the_place_of_the_season_is_not_written_into(
    database: Database, tmp_path: Path
) -> None:
    assert database.file is not None
    with database.read() as session:
        waiting(session)
    moved(database, tmp_path / "elsewhere.db")
    other = Database(database.url)
    other.migrate()
    other.close()
    before = database.file.read_bytes()
    with pytest.raises(Unavailable) as caught, database.act("add", "ines", {}):
        pytest.fail("wrote into another season")
    assert (caught.value.code, "another file" in caught.value.message) == ("database-away", True)
    assert database.file.read_bytes() == before


def test_a_season_that_may_only_be_read_is_asked_and_says_so(database: Database) -> None:
    assert database.file is not None
    with database.act("begin", "ines", {}) as session:
        session.execute(text("create table heap (what text)"))
    only_read = Database(f"sqlite:///file:{database.file}?mode=ro&uri=true")
    with only_read.read() as session:
        assert session.scalar(text("select count(*) from heap")) == 0
    with pytest.raises(Unavailable) as caught, only_read.act("add", "ines", {}) as session:
        session.execute(text("insert into heap values ('more')"))
    assert caught.value.code == "database-read-only"
    only_read.close()
