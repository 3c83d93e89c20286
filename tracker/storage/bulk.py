"""Many rows at once, for files with a hundred thousand lines and logs of a million: as tuples of the driver.

The columns' own types still write every value, so that what is no finite decimal or no moment is refused as ever;
whoever reads past them judges what he reads.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from typing import Any

from sqlalchemy import Connection, Select, Table, func, select, text
from sqlalchemy.orm import Session

from tracker.storage.base import Base

# Rows for one call of the driver.
AT_ONCE = 5_000
Values = tuple[Any, ...]


def add_many(session: Session, row: type[Base], columns: Sequence[str], rows: Iterable[Values]) -> None:
    """Add a row for each tuple, its values in the order of the columns."""
    connection = session.connection()
    table = _table(row)
    names = ", ".join(_quoted(connection, name) for name in columns)
    places = ", ".join([_place(connection)] * len(columns))
    statement = f"insert into {_quoted(connection, table.name)} ({names}) values ({places})"
    _run(connection, statement, table, columns, rows)


def change_many(
    session: Session, row: type[Base], columns: Sequence[str], key: str, rows: Iterable[Values]
) -> None:
    """Set these columns of rows that are there; each tuple ends with the key's value."""
    connection = session.connection()
    table = _table(row)
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


def new_ids(session: Session, row: type[Base], count: int) -> Sequence[int]:
    """So many numbers that no row of the table has and none will be given; within an act nobody else draws any."""
    connection = session.connection()
    table = _table(row)
    if connection.dialect.name == "sqlite":
        last = connection.scalar(select(func.max(table.c.id))) or 0
        return range(last + 1, last + 1 + count)
    drawn = text("select nextval(pg_get_serial_sequence(:table, 'id')) from generate_series(1, :count)")
    return sorted(connection.scalars(drawn, {"table": table.name, "count": count}))


def _table(row: type[Base]) -> Table:
    table = row.__table__
    assert isinstance(table, Table)
    return table


def _run(
    connection: Connection, statement: str, table: Table, columns: Sequence[str], rows: Iterable[Values]
) -> None:
    for some in _portions(_written(connection, table, columns, rows)):
        connection.exec_driver_sql(statement, some)


def _written(
    connection: Connection, table: Table, columns: Sequence[str], rows: Iterable[Values]
) -> Iterator[Values]:
    """The values as the driver takes them."""
    dialect = connection.dialect
    writers = [table.c[name].type.dialect_impl(dialect).bind_processor(dialect) for name in columns]
    busy = [(at, write) for at, write in enumerate(writers) if write is not None]
    if not busy:
        yield from rows
        return
    for values in rows:
        changed = list(values)
        for at, write in busy:
            changed[at] = write(changed[at])
        yield tuple(changed)


def _portions(rows: Iterator[Values]) -> Iterator[list[Values]]:
    some: list[Values] = []
    for one in rows:
        some.append(one)
        if len(some) == AT_ONCE:
            yield some
            some = []
    if some:
        yield some


def _quoted(connection: Connection, name: str) -> str:
    return connection.dialect.identifier_preparer.quote_identifier(name)


def _place(connection: Connection) -> str:
    return "?" if connection.dialect.paramstyle == "qmark" else "%s"
