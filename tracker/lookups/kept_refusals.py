"""What was refused, and the rows of result files that wait for a person."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage.analysis import ParkedAnswer, ParkedRow, ResultFile
from tracker.storage.kept import KeptRefusal


@dataclass(frozen=True)
class Refusal:
    """Something asked and refused, with the values as they were given."""

    id: int
    at: datetime
    act: str
    by: str
    given: dict[str, Any]
    code: str
    message: str
    remedy: str
    field: str | None
    line: int | None


@dataclass(frozen=True)
class Parked:
    """A row that could not go in; answer: what somebody decided about it, None while it waits."""

    id: int
    file: str
    line: int
    sample_text: str
    cells: tuple[str, ...]
    problems: tuple[dict[str, Any], ...]
    suggestions: tuple[str, ...]
    answer: str | None


def refusals(session: Session, limit: int = 100) -> tuple[Refusal, ...]:
    """The latest refusals first."""
    rows = session.scalars(select(KeptRefusal).order_by(KeptRefusal.id.desc()).limit(limit))
    return tuple(_refusal(row) for row in rows)


def refusals_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[Refusal]:
    """Every refusal, the oldest first, a page of them. Raises Refused `not-a-cursor`."""
    return page_of(session, select(KeptRefusal), [KeptRefusal.id], _refusal, after, limit)


def _refusal(row: KeptRefusal) -> Refusal:
    return Refusal(
        row.id, row.at, row.act, row.by, row.given, row.code, row.message, row.remedy, row.field, row.line
    )


def parked_rows(session: Session, *, answered: bool = False) -> tuple[Parked, ...]:
    """The rows that wait, oldest file first; with answered, also those somebody has decided about."""
    return tuple(_parked(*row) for row in session.execute(_rows(answered).order_by(ParkedRow.id)))


def parked_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[Parked]:
    """The rows that wait, oldest file first, a page of them. Raises Refused `not-a-cursor`."""
    return page_of(session, _rows(answered=False), [ParkedRow.id], _parked, after, limit)


def _rows(answered: bool) -> Any:
    wanted = (
        select(ParkedRow, ResultFile.name, ParkedAnswer)
        .join(ResultFile, ResultFile.id == ParkedRow.file_id)
        .outerjoin(ParkedAnswer, ParkedAnswer.parked_id == ParkedRow.id)
    )
    return wanted if answered else wanted.where(ParkedAnswer.id.is_(None))


def _parked(row: ParkedRow, name: str, answer: ParkedAnswer | None) -> Parked:
    said = None
    if answer is not None:
        said = f"{'taken in' if answer.analysis_id else 'set aside'}: {answer.reason}"
    return Parked(
        row.id,
        name,
        row.line,
        row.sample_text,
        tuple(row.cells),
        tuple(row.problems),
        tuple(row.suggestions),
        said,
    )
