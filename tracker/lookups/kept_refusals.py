"""What was refused, and the rows of result files that wait for a person."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

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
    return tuple(
        Refusal(
            row.id, row.at, row.act, row.by, row.given, row.code, row.message, row.remedy, row.field, row.line
        )
        for row in rows
    )


def parked_rows(session: Session, *, answered: bool = False) -> tuple[Parked, ...]:
    """The rows that wait, oldest file first; with answered, also those somebody has decided about."""
    wanted = (
        select(ParkedRow, ResultFile.name, ParkedAnswer)
        .join(ResultFile, ResultFile.id == ParkedRow.file_id)
        .outerjoin(ParkedAnswer, ParkedAnswer.parked_id == ParkedRow.id)
        .order_by(ParkedRow.id)
    )
    if not answered:
        wanted = wanted.where(ParkedAnswer.id.is_(None))
    return tuple(_parked(row, name, answer) for row, name, answer in session.execute(wanted))


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
