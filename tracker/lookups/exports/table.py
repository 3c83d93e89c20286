"""What a table that leaves the programme is: a name, columns that say what is in them, and rows in turn."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

# So many rows are in memory at a time.
AT_ONCE = 500
Cells = tuple[object, ...]
Rows = Callable[[Session, int | None], Iterator[Cells]]


@dataclass(frozen=True)
class Column:
    """One column. kind: text, integer, number, date, moment or yes/no; unit: UCUM, or "" where there is none."""

    name: str
    words: str
    kind: str = "text"
    unit: str = ""


@dataclass(frozen=True)
class Table:
    """A table: rows(session, season) yields cells in the order of the columns; season None is every season."""

    name: str
    words: str
    columns: tuple[Column, ...]
    rows: Rows

    def lines(self, session: Session, season: int | None = None) -> Iterator[Cells]:
        """The heading, then every row. Raises ValueError where a row does not fit the heading."""
        yield tuple(column.name for column in self.columns)
        width = len(self.columns)
        for cells in self.rows(session, season):
            if len(cells) != width:
                raise ValueError(f"{self.name}: a row of {len(cells)} cells under {width} columns")
            yield cells


def read(session: Session, wanted: Any, at_once: int = AT_ONCE) -> Iterator[Any]:
    """The rows of a question, so many at a time."""
    yield from session.execute(wanted.execution_options(yield_per=at_once))
