"""Rows without an object for each: answers to a question that was put into words once, and for files with a hundred
thousand lines and logs of a million many rows at once, as tuples of the driver.

Values go in and come out as the driver has them, by no type of a column: whoever writes past the types judges what he
writes, once for many rows where they share it (`writer`), and whoever reads past them what he reads.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from itertools import chain, islice
from typing import Any

from sqlalchemy import (
    ARRAY,
    ColumnElement,
    Connection,
    CursorResult,
    Executable,
    Select,
    Table,
    any_,
    bindparam,
    func,
    select,
    text,
)
from sqlalchemy.orm import InstrumentedAttribute, Session

from tracker.storage.base import Base

# Rows for one call of the driver, and for one statement where that is quicker (see add_many).
AT_ONCE, TOGETHER = 5_000, 50
Values = tuple[Any, ...]
Writer = Callable[[Any], Any]


def ask(session: Session, statement: Executable, **values: Any) -> CursorResult[*tuple[Any, ...]]:
    """The rows of a statement on tables; what waits in the session is written first, as its own questions do it."""
    session.flush()
    return session.connection().execute(statement, values)


def add_many(
    session: Session, row: type[Base], columns: Sequence[str], rows: Iterable[Values], together: int = 1
) -> None:
    """Add a row for each tuple, its values in the order of the columns and as the driver takes them.

    together: so many with one statement. That takes two thirds of the time where the table's indexes grow at their
    end; elsewhere it takes longer, since SQLite keeps each page that such a statement touches until it has ended.
    """
    connection = session.connection()
    names = ", ".join(_quoted(connection, name) for name in columns)
    into = f"insert into {_quoted(connection, table_of(row).name)} ({names}) values"
    places = f"({', '.join([_place(connection)] * len(columns))})"
    left = iter(rows)
    while some := list(islice(left, AT_ONCE)):
        whole = len(some) // together * together if together > 1 else 0
        if whole:
            many = [tuple(chain.from_iterable(some[at : at + together])) for at in range(0, whole, together)]
            connection.exec_driver_sql(f"{into} {', '.join([places] * together)}", many)
        if whole < len(some):
            connection.exec_driver_sql(f"{into} {places}", some[whole:])


def change_many(
    session: Session, row: type[Base], columns: Sequence[str], key: str, rows: Iterable[Values]
) -> None:
    """Set these columns of rows that are there, likewise; each tuple ends with the key's value."""
    connection = session.connection()
    table = table_of(row)
    place = _place(connection)
    sets = ", ".join(f"{_quoted(connection, name)} = {place}" for name in columns)
    statement = (
        f"update {_quoted(connection, table.name)} set {sets} where {_quoted(connection, key)} = {place}"
    )
    left = iter(rows)
    while some := list(islice(left, AT_ONCE)):
        connection.exec_driver_sql(statement, some)


def read_raw(session: Session, wanted: Select[*tuple[Any, ...]], **values: Any) -> list[Values]:
    """The rows of a question as the driver gives them, read by no type of a column: moments are text on SQLite."""
    result = session.connection().execute(wanted, values)
    with closing(result.cursor) as cursor:
        return list(cursor.fetchall())


def read_in_parts(
    session: Session, wanted: Select[*tuple[Any, ...]], most: int, **values: Any
) -> Iterator[list[Values]]:
    """The same, so many rows at a time."""
    result = session.connection().execute(wanted, values)
    with closing(result.cursor) as cursor:
        while rows := cursor.fetchmany(most):
            yield list(rows)


def among(session: Session, column: InstrumentedAttribute[Any], name: str) -> ColumnElement[bool]:
    """Whether the column's value is in the list given under this name, as `listed` makes it ready.

    It is one parameter however long the list is; to write a place for each into the question takes longer than to
    ask it.
    """
    if session.connection().dialect.name == "sqlite":
        return column.in_(select(func.json_each(bindparam(name)).table_valued("value").c.value))
    return column == any_(bindparam(name, type_=ARRAY(column.type)))


def listed(session: Session, values: Sequence[Any]) -> Any:
    """A list as the question of an `among` takes it: SQLite knows lists as JSON only."""
    return json.dumps(values) if session.connection().dialect.name == "sqlite" else values


def new_ids(session: Session, row: type[Base], count: int) -> Sequence[int]:
    """So many numbers that no row of the table has and none will be given; within an act nobody else draws any."""
    connection = session.connection()
    table = table_of(row)
    if connection.dialect.name == "sqlite":
        last = connection.scalar(select(func.max(table.c.id))) or 0
        return range(last + 1, last + 1 + count)
    drawn = text("select nextval(pg_get_serial_sequence(:table, 'id')) from generate_series(1, :count)")
    return sorted(connection.scalars(drawn, {"table": table.name, "count": count}))


def table_of(row: type[Base]) -> Table:
    """The table that these rows are in."""
    table = row.__table__
    assert isinstance(table, Table)
    return table


def writer(session: Session, row: type[Base], column: str) -> Writer:
    """What makes a value of this column ready for the driver, and raises TypeError where it is none."""
    dialect = session.connection().dialect
    found = table_of(row).c[column].type.dialect_impl(dialect).bind_processor(dialect)
    return found or (lambda value: value)


def _quoted(connection: Connection, name: str) -> str:
    return connection.dialect.identifier_preparer.quote_identifier(name)


def _place(connection: Connection) -> str:
    return "?" if connection.dialect.paramstyle == "qmark" else "%s"
