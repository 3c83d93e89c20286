"""Take in producers from one file: the rows that can be are, the others are kept with what is wrong."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import TrackerError
from tracker.files.producers_file import OPTIONAL, ProducerRow, read_producers
from tracker.files.table_file import read_table
from tracker.steps.add_people import add_producer
from tracker.steps.register_lots import LineAnswer, Progress, each_line
from tracker.storage.people import Producer


def add_producers(
    session: Session,
    name: str,
    content: bytes,
    act: Act,
    *,
    sheet: str | None = None,
    progress: Progress | None = None,
) -> tuple[LineAnswer, ...]:
    """Add each row of the file; a row refused does not touch the others, and is kept as it was given.

    The answers' numbers are the producers'. A producer known with the same values is known and nothing else; one
    with other values is a contradiction. Raises what read_table and read_producers raise.
    """
    table = read_table(name, content, sheet=sheet)
    rows = read_producers(table)
    what = f"add producers from {name}"
    return each_line(session, table.header, rows, _take, what, act, progress, _known)


def _take(session: Session, row: ProducerRow, act: Act) -> LineAnswer:
    return LineAnswer(row.line, add_producer(session, now=act.now, **row.values).id, None)


def _known(session: Session, row: ProducerRow, act: Act, refused: TrackerError) -> bool:
    if refused.code != "producer-known":
        return False
    known = session.scalar(select(Producer).where(Producer.name == row.values["name"]))
    return known is not None and all(
        getattr(known, name) == row.values[name] for name in OPTIONAL if name in row.values
    )
