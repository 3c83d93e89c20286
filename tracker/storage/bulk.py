"""Rows without an object for each: answers to a question that was put into words once, and for files with a hundred
thousand lines and logs of a million many rows at once, as tuples of the driver.

The columns' own types still write every value, so that what is no finite decimal or no moment is refused as ever;
whoever reads past them judges what he reads.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from itertools import islice
from typing import Any

from sqlalchemy import Connection, CursorResult, Executable, Select, Table, func, select, text
from sqlalchemy.orm import Session

from tracker.storage.base import Base

# Rows for one call of the driver.
AT_ONCE = 5_000
Values = tuple[Any, ...]
Writer = Callable[[Any], Any]


def ask(session: Session, statement: Executable, **values: Any) -> CursorResult[Any]:
    """The rows of a statement on tables; what waits in the session is written first, as its own questions do it."""
    session.flush()
    return session.connection().execute(statement, values)


def add_many(session: Session, row: type[Base], columns: Sequence[str], rows: Iterable[Values]) -> None:
    """Add a row for each tuple, its values in the order of the columns."""
    connection = session.connection()
    table = table_of(row)
    names = ", ".join(_quoted(connection, name) for name in columns)
    places = ", ".join([_place(connection)] * len(columns))
    statement = f"insert into {_quoted(connection, table.name)} ({names}) values ({places})"
    _run(connection, statement, table, columns, rows)


def change_many(
    session: Session, row: type[Base], columns: Sequence[str], key: str, rows: Iterable[Values]
) -> None:
    """Set these columns of rows that are there; each tuple ends with the key's value."""
    connection = session.connection()
    table = table_of(row)
    place = _place(connection)
    sets = ", ".join(f"{_quoted(connection, name)} = {place}" for name in columns)
    statement = (
        f"update {_quoted(connection, table.name)} set {sets} where {_quoted(connection, key)} = {place}"
    )
    _run(connection, statement, table, [*columns, key], rows)


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


def _run(
    connection: Connection, statement: str, table: Table, columns: Sequence[str], rows: Iterable[Values]
) -> None:
    dialect, left = connection.dialect, iter(rows)
    writers = [table.c[name].type.dialect_impl(dialect).bind_processor(dialect) for name in columns]
    while some := list(islice(left, AT_ONCE)):
        connection.exec_driver_sql(statement, _written(writers, some))


def _written(writers: Sequence[Writer | None], rows: Sequence[Values]) -> list[Values]:
    """The values as the driver takes them, a column at a time."""
    columns = zip(writers, zip(*rows, strict=True), strict=True)
    written = [some if write is None else map(write, some) for write, some in columns]
    return list(zip(*written, strict=True))


def _quoted(connection: Connection, name: str) -> str:
    return connection.dialect.identifier_preparer.quote_identifier(name)


def _place(connection: Connection) -> str:
    return "?" if connection.dialect.paramstyle == "qmark" else "%s"
