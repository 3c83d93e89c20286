"""What has happened cannot be changed or taken away, by whatever SQL."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from tracker.storage.engine import Database
from tracker.storage.schema import APPEND_ONLY, METADATA


@pytest.fixture
def raw(database: Database, path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that knows nothing of this program: no references checked, no settings of ours."""
    connection = sqlite3.connect(path, isolation_level=None)
    yield connection
    connection.close()


def fill(connection: sqlite3.Connection, table: str) -> tuple[str, object]:
    """Puts a row into the table; its key's name and value."""
    columns = METADATA.tables[table].columns
    [key] = METADATA.tables[table].primary_key.columns
    values = {column.name: None if column.nullable else likely(column.name) for column in columns}
    names = ", ".join(f'"{name}"' for name in values)
    connection.execute(
        f"insert into {table} ({names}) values ({', '.join('?' * len(values))})", tuple(values.values())
    )
    return key.name, values[key.name]


def likely(name: str) -> object:
    words = {"what": "fresh", "route": "typed", "level": "none", "kind": "image/png"}
    return {**words, "answer": "refused", "source": "paper", "via": "file"}.get(name, 1)


def rows(connection: sqlite3.Connection, table: str) -> list[tuple[object, ...]]:
    return connection.execute(f"select * from {table}").fetchall()


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_no_row_is_changed_even_by_raw_sql(raw: sqlite3.Connection, table: str) -> None:
    key, value = fill(raw, table)
    before = rows(raw, table)
    for column in METADATA.tables[table].columns:
        with pytest.raises(sqlite3.IntegrityError, match=f"{table} only grows"):
            raw.execute(f'update {table} set "{column.name}" = 2 where "{key}" = ?', (value,))
    assert rows(raw, table) == before


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_no_row_is_taken_away_even_by_raw_sql(raw: sqlite3.Connection, table: str) -> None:
    fill(raw, table)
    before = rows(raw, table)
    with pytest.raises(sqlite3.IntegrityError, match=f"{table} only grows"):
        raw.execute(f"delete from {table}")
    assert rows(raw, table) == before


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_no_row_is_replaced_by_another_with_its_key(
    database: Database, raw: sqlite3.Connection, table: str
) -> None:
    # SQLite's REPLACE takes the old row away without asking the guard on delete, unless recursive triggers are
    # on (sqlite.org/lang_conflict.html); every connection of ours turns them on.
    fill(raw, table)
    before = rows(raw, table)
    with pytest.raises(IntegrityError, match=f"{table} only grows"), database.act("x", "ines", {}) as session:
        session.execute(text(f"insert or replace into {table} select * from {table}"))
    assert rows(raw, table) == before


def test_what_may_change_has_no_guard(raw: sqlite3.Connection) -> None:
    # The other half of the check above: a guard on everything would pass it too.
    raw.execute("insert into producer values (1, 'Nora', '', '', '', '2026-06-15 12:00:00')")
    raw.execute("update producer set phone = '555 0100'")
    assert raw.execute("select phone from producer").fetchone() == ("555 0100",)


def test_the_tables_that_only_grow_are_the_same_everywhere(raw: sqlite3.Connection) -> None:
    guarded = raw.execute("select tbl_name, name from sqlite_master where type = 'trigger'").fetchall()
    expected = {(table, f"{table}_no_{change}") for table in APPEND_ONLY for change in ("update", "delete")}
    assert set(guarded) == expected
    assert set(APPEND_ONLY) <= set(METADATA.tables)
