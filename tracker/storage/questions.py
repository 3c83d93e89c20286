"""Questions asked at nearly every page: put into the database's words once, and answered by its driver itself.

Through SQLAlchemy a session, its empty transaction and one row take ten times what the database takes for the row.
The columns' own types still write and read every value.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Dialect, Select
from sqlalchemy.orm import Session

from tracker.storage.bulk import ask

Work = Callable[[Any], Any]


@dataclass(frozen=True)
class Asking:
    """The driver's own connection; each question on it sees its own moment. See `Database.ask`."""

    connection: Any
    dialect: Dialect


# Where a question can be put: within an act or a session for questions, or by itself.
Asked = Session | Asking


class Question:
    """A statement with named values, none of them a list."""

    def __init__(self, statement: Select[*tuple[Any, ...]]) -> None:
        self.statement = statement
        self._worded: dict[str, _Worded] = {}

    def rows(self, asked: Asked, **values: Any) -> list[Any]:
        """The rows, each with its columns by name."""
        if isinstance(asked, Session):
            return list(ask(asked, self.statement, **values))
        worded = self._worded.get(asked.dialect.name)
        if worded is None:
            worded = self._worded[asked.dialect.name] = _Worded(self.statement, asked.dialect)
        cursor = asked.connection.cursor()
        try:
            cursor.execute(worded.text, worded.written(values))
            return [worded.read(row) for row in cursor.fetchall()]
        finally:
            cursor.close()

    def first(self, asked: Asked, **values: Any) -> Any:
        """The first row, None where there is none."""
        found = self.rows(asked, **values)
        return found[0] if found else None


class _Worded:
    """A statement in the words of one kind of database."""

    def __init__(self, statement: Select[*tuple[Any, ...]], dialect: Dialect) -> None:
        compiled = statement.compile(dialect=dialect)
        self.text = str(compiled)
        self._in_order = compiled.positiontup is not None
        # What the statement itself says stands beside what is given with each question.
        self._own = {name: bind.value for name, bind in compiled.binds.items() if not bind.required}
        self._writers: list[tuple[str, Work | None]] = [
            (name, compiled.binds[name].type.dialect_impl(dialect).bind_processor(dialect))
            for name in compiled.positiontup or compiled.binds
        ]
        self._names = [name for name, _ in self._writers]
        columns = statement.selected_columns
        self._row: Any = namedtuple("Row", columns.keys(), rename=True)  # type: ignore[misc]
        found = [column.type.dialect_impl(dialect).result_processor(dialect, None) for column in columns]
        self._readers: dict[int, Work] = {at: read for at, read in enumerate(found) if read is not None}

    def written(self, given: Mapping[str, Any]) -> Any:
        """The values as the driver takes them: in the statement's order, or by name."""
        values = {**self._own, **given}
        written = [values[name] if write is None else write(values[name]) for name, write in self._writers]
        return written if self._in_order else dict(zip(self._names, written, strict=True))

    def read(self, row: Any) -> Any:
        """A row of the driver, as the columns' types read it."""
        if self._readers:
            row = list(row)
            for at, read in self._readers.items():
                row[at] = read(row[at])
        return self._row._make(row)
