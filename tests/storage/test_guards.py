"""What has happened cannot be changed or taken away, by whatever SQL."""

from __future__ import annotations

import re
import sqlite3

import psycopg
import pytest
from sqlalchemy import Boolean, CheckConstraint, Column, Date, DateTime, Integer, LargeBinary, text
from sqlalchemy.exc import IntegrityError

from tests.storage.conftest import NOON, Raw
from tracker.storage.engine import Database
from tracker.storage.schema import APPEND_ONLY, METADATA

BROKEN = (sqlite3.IntegrityError, psycopg.IntegrityError)
# Two values for a column of each type; all the others hold text.
BY_TYPE = {
    Boolean: (True, False),
    Integer: (1, 2),
    DateTime: (NOON.replace(tzinfo=None).isoformat(" "), "2026-06-16 12:00:00"),
    Date: ("2026-06-15", "2026-06-16"),
    LargeBinary: (b"1", b"2"),
}


def likely(column: Column[object], which: int = 0) -> object:
    """A value that the column takes; which: the first or the second."""
    for kind, values in BY_TYPE.items():
        if isinstance(getattr(column.type, "impl_instance", column.type), kind):
            return values[which]
    return next(iter(allowed(column)), "12")


def allowed(column: Column[object]) -> list[str]:
    """The words that a check of the table leaves the column to choose from."""
    checks = [str(one.sqltext) for one in column.table.constraints if isinstance(one, CheckConstraint)]
    mine = (re.fullmatch(rf"{column.name} in \((.*)\)", check) for check in checks)
    return [word for found in mine if found for word in re.findall(r"'([^']*)'", found.group(1))]


def fill(raw: Raw, table: str) -> tuple[str, object]:
    """Puts a row into the table; its key's name and value."""
    columns = METADATA.tables[table].columns
    [key] = METADATA.tables[table].primary_key.columns
    values = {column.name: None if column.nullable else likely(column) for column in columns}
    names = ", ".join(f'"{name}"' for name in values)
    raw.plant(f"insert into {table} ({names}) values ({', '.join('?' * len(values))})", *values.values())
    return key.name, values[key.name]


def rows(raw: Raw, table: str) -> list[tuple[object, ...]]:
    return raw(f"select * from {table}")


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_no_row_is_changed_even_by_raw_sql(raw: Raw, table: str) -> None:
    key, value = fill(raw, table)
    before = rows(raw, table)
    for column in METADATA.tables[table].columns:
        with pytest.raises(BROKEN, match=f"{table} only grows"):
            raw(f'update {table} set "{column.name}" = ? where "{key}" = ?', likely(column, 1), value)
    assert rows(raw, table) == before


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_no_row_is_taken_away_even_by_raw_sql(raw: Raw, table: str) -> None:
    fill(raw, table)
    before = rows(raw, table)
    with pytest.raises(BROKEN, match=f"{table} only grows"):
        raw(f"delete from {table}")
    if raw.file is None:
        with pytest.raises(BROKEN, match="only grows"):
            raw(f"truncate {table} cascade")
    assert rows(raw, table) == before


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_no_row_is_replaced_by_another_with_its_key(database: Database, raw: Raw, table: str) -> None:
    # SQLite's REPLACE takes the old row away without asking the guard on delete, unless recursive triggers are
    # on (sqlite.org/lang_conflict.html); every connection of ours turns them on. PostgreSQL's way is an update.
    key, _ = fill(raw, table)
    before = rows(raw, table)
    replacing = f"insert or replace into {table} select * from {table}"
    if raw.file is None:
        same = f'do update set "{key}" = excluded."{key}"'
        replacing = f'insert into {table} select * from {table} on conflict ("{key}") {same}'
    with pytest.raises(IntegrityError, match=f"{table} only grows"), database.act("x", "ines", {}) as session:
        session.execute(text(replacing))
    assert rows(raw, table) == before


def test_what_may_change_has_no_guard(raw: Raw) -> None:
    # The other half of the check above: a guard on everything would pass it too.
    raw("insert into producer values (1, 'Nora', '', '', '', '2026-06-15 12:00:00')")
    raw("update producer set phone = '555 0100'")
    assert raw("select phone from producer") == [("555 0100",)]


def test_the_tables_that_only_grow_are_the_same_everywhere(raw: Raw) -> None:
    listed = "select tbl_name, name from sqlite_master where type = 'trigger'"
    changes = ["update", "delete"]
    if raw.file is None:
        listed = "select tgrelid::regclass::text, tgname from pg_trigger where not tgisinternal"
        changes.append("truncate")
    assert set(raw(listed)) == {
        (table, f"{table}_no_{change}") for table in APPEND_ONLY for change in changes
    }
    assert set(APPEND_ONLY) <= set(METADATA.tables)
