"""Large seasons in little time: one sample's rows, made by the real steps, copied as often as is asked for.

Each copy is a producer, a field, a lot, a sample and a tag of its own, with every event, log entry and weighing.
Names, codes and numbers differ, and the log is true: entries and tree are made for them as they would have been.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Callable
from typing import Any

from sqlalchemy import Column, Connection, Table, create_engine, event, func, select, text
from sqlalchemy.orm import Session

from labels.payload import make_code
from tests.bench.true_log import keep_true_log
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.schema import METADATA
from tracker.storage.tags import Tag

# What all samples share, and what is made for the copies by itself.
SHARED = {
    "party",
    "practice_value",
    "source",
    "source_map",
    "result_file",
    "account",
    "log_entry",
    "log_node",
    "search_word",
    "hay_count",
}
# Names are as long as each other, so that none begins like another.
FIRST_NAME = 1_000_000


def grow(database: Database, make: Callable[[Session], Sample], copies: int, seed: int = 1) -> list[str]:
    """Make one sample and that many copies of it in a season that has its people only; the codes of all."""
    with database.act("make", "tove", {}) as session:
        sample = make(session)
        code = session.scalars(select(Tag.code).where(Tag.sample_id == sample.id)).one()
    codes = _codes(copies, seed, code)
    # A large season that the plug is pulled on is made again, so nothing of it waits for a disk.
    database.engine.dispose()
    engine = create_engine(database.url)
    if database.file is not None:
        event.listen(engine, "connect", _in_haste)
    with engine.begin() as connection:
        _name_copies(connection, codes)
        for table in METADATA.sorted_tables:
            if table.name not in SHARED and _rows(connection, table):
                _copy(connection, table, code)
        _copy_words(connection, code)
        # All copies have the same values.
        connection.execute(text(f"update hay_count set lots = lots * {len(codes) + 1}"))
        rows = {name: _first(connection, METADATA.tables[name]) for name in ("sample", "tag", "lot")}
        keep_true_log(connection, code, rows)
        _move_sequences(connection)
        connection.execute(text("drop table copies"))
    engine.dispose()
    return [code, *codes]


def _in_haste(connection: Any, record: Any) -> None:
    for pragma in ("journal_mode=off", "synchronous=off", "cache_size=-400000", "foreign_keys=off"):
        connection.execute(f"pragma {pragma}")


def _codes(count: int, seed: int, taken: str) -> list[str]:
    rng = random.Random(seed)
    found: dict[str, None] = {}
    while len(found) < count:
        code = make_code(rng)
        if code != taken:
            found[code] = None
    return list(found)


def _name_copies(connection: Connection, codes: list[str]) -> None:
    connection.execute(
        text("create temporary table copies (n integer primary key, code text, token_hash text)")
    )
    rows = [
        {"n": n, "code": code, "token": hashlib.sha256(code.encode()).hexdigest()}
        for n, code in enumerate(codes, start=1)
    ]
    if rows:
        connection.execute(text("insert into copies values (:n, :code, :token)"), rows)


def _rows(connection: Connection, table: Table) -> int:
    return connection.scalar(select(func.count()).select_from(table)) or 0


def _copy(connection: Connection, table: Table, code: str) -> None:
    """The first sample's rows of this table for every copy, numbers moved on by as many as it has."""
    connection.execute(text(f'create temporary table first_rows as select * from "{table.name}"'))
    names = ", ".join(f'"{column.name}"' for column in table.columns)
    values = ", ".join(_value(connection, table, column, code) for column in table.columns)
    connection.execute(
        text(f'insert into "{table.name}" ({names}) select {values} from copies, first_rows r')
    )
    connection.execute(text("drop table first_rows"))


def _value(connection: Connection, table: Table, column: Column[object], code: str) -> str:
    here = f'r."{column.name}"'
    if table.name == "tag" and column.name in ("code", "token_hash"):
        return f"copies.{column.name}"
    if table.name == "standing" and column.name == "code":
        return "copies.code"
    if column.name in ("data", "body") or (table.name, column.name) == ("report_version", "number"):
        return f"replace({here}, '{code}', copies.code)"
    if (table.name, column.name) in (("producer", "name"), ("oven_load", "name")):
        return f"{here} || ' ' || copies.n"
    if column.name == "event_id" or column.name.endswith("_event_id"):
        return f"{here} || '.' || copies.n"
    target = _pointed_at(table, column)
    if target is not None and target.name not in SHARED:
        return f"{here} + copies.n * {_first(connection, target)}"
    return here


def _pointed_at(table: Table, column: Column[object]) -> Table | None:
    """The table whose numbers stand in this column, its own for its key."""
    for key in column.foreign_keys:
        return key.column.table if key.column.name in ("id", "seq", "sample_id") else None
    return table if column.primary_key and column.name in ("id", "seq") else None


def _first(connection: Connection, table: Table) -> int:
    """How many rows of the table the first sample has, kept from before the copies were made."""
    kept: dict[str, int] = connection.info.setdefault("first rows", {})
    if table.name not in kept:
        kept[table.name] = _rows(connection, table)
    return kept[table.name]


def _copy_words(connection: Connection, code: str) -> None:
    # Ten of them share a name, however many there are; the other words are everybody's.
    numbered = f"case when w.word = 'meadow' then w.word || ({FIRST_NAME} + copies.n / 10) else w.word end"
    connection.execute(
        text(
            "insert into search_word (kind, word, subject_id) "
            f"select w.kind, {numbered}, w.subject_id + copies.n from copies, "
            "(select * from search_word where kind <> 'tag') w"
        )
    )
    connection.execute(
        text(
            "insert into search_word (kind, word, subject_id) "
            "select 'tag', substr(copies.code, 5), copies.n + 1 from copies"
        )
    )


def _move_sequences(connection: Connection) -> None:
    if connection.dialect.name == "sqlite":
        return
    for table in METADATA.sorted_tables:
        if "id" in table.columns and table.name not in SHARED:
            connection.execute(
                text(
                    f"select setval(pg_get_serial_sequence('{table.name}', 'id'), "
                    f'coalesce((select max(id) from "{table.name}"), 1))'
                )
            )
