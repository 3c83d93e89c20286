"""Files of results as they were taken in, and a parked row with the headings of its file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, distinct, func, select
from sqlalchemy.orm import Session, joinedload

from tracker.domain.check_samples import REJECT
from tracker.errors import NotFound
from tracker.files.column_map import load_column_map
from tracker.files.table_file import read_table
from tracker.lookups.page import USUAL, Key, Page, rows_of
from tracker.storage.analysis import Analysis, ParkedAnswer, ParkedRow, ResultFile, Source, SourceMap
from tracker.storage.base import LARGEST_ID
from tracker.storage.people import party_names
from tracker.storage.runs import CheckReading

LATEST = 30
# Rows of which nobody can tell which cell is whose.
MISSHAPEN = ("row-too-short", "row-too-long", "broken-quotes")


@dataclass(frozen=True)
class FileLine:
    """A file and what became of its rows; waiting: parked rows nobody has decided about; at in UTC."""

    id: int
    name: str
    source: str
    by: str
    at: datetime
    taken: int
    parked: int
    waiting: int
    checks: int
    out_of_control: bool


def result_files(session: Session) -> tuple[FileLine, ...]:
    """The latest files first."""
    names = party_names(session)
    rows = session.execute(_files().order_by(ResultFile.id.desc()).limit(LATEST))
    return tuple(_line(names, *row) for row in rows)


def result_files_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[FileLine]:
    """The files by number, the oldest first, a page of them. Raises Refused `not-a-cursor`."""
    names = party_names(session)
    rows, following = rows_of(session, _files(), [ResultFile.id], after, limit)
    return Page(tuple(_line(names, *row) for row in rows), following)


def _files() -> Any:
    """Each file with its source and what became of its rows."""
    return (
        select(
            ResultFile,
            Source.name,
            _count(Analysis.id, Analysis.file_id == ResultFile.id),
            _count(ParkedRow.id, ParkedRow.file_id == ResultFile.id),
            _count(
                ParkedAnswer.id, ParkedAnswer.parked_id == ParkedRow.id, ParkedRow.file_id == ResultFile.id
            ),
            _count(CheckReading.line, CheckReading.file_id == ResultFile.id),
            _count(CheckReading.id, CheckReading.file_id == ResultFile.id, CheckReading.level == REJECT),
        )
        .join(SourceMap, SourceMap.id == ResultFile.map_id)
        .join(Source, Source.id == SourceMap.source_id)
    )


def _line(
    names: dict[str, str],
    file: ResultFile,
    source: str,
    taken: int,
    parked: int,
    answered: int,
    checks: int,
    rejected: int,
) -> FileLine:
    return FileLine(
        id=file.id,
        name=file.name,
        source=source,
        by=names.get(file.by, file.by),
        at=file.at,
        taken=taken,
        parked=parked,
        waiting=parked - answered,
        checks=checks,
        out_of_control=rejected > 0,
    )


def _count(what: Any, *where: ColumnElement[bool]) -> Any:
    counted = select(func.count(distinct(what))).where(*where)
    return counted.correlate(ResultFile).scalar_subquery()


@dataclass(frozen=True)
class ParkedCells:
    """A parked row with each cell under its heading. misshapen: nobody can tell which cell is whose."""

    id: int
    file: str
    line: int
    sample_text: str
    sample_header: str
    cells: tuple[tuple[str, str], ...]
    problems: tuple[dict[str, Any], ...]
    suggestions: tuple[str, ...]
    misshapen: bool
    answered: bool


def parked_cells(session: Session, number: int) -> ParkedCells:
    """The parked row of this number. Raises NotFound `unknown-parked-row`."""
    row = session.get(ParkedRow, number) if number <= LARGEST_ID else None
    if row is None:
        raise NotFound(
            "unknown-parked-row",
            f"There is no parked row {number}.",
            field="row",
            remedy="Choose it from the parked rows.",
        )
    file = session.get_one(ResultFile, row.file_id, options=(joinedload(ResultFile.map),))
    column_map = load_column_map(file.map.body)
    header = read_table(file.name, file.content, sheet=file.sheet or None).header
    padded = [*row.cells, *[""] * (len(header) - len(row.cells))]
    answered = session.scalar(select(ParkedAnswer.id).where(ParkedAnswer.parked_id == number))
    return ParkedCells(
        id=row.id,
        file=file.name,
        line=row.line,
        sample_text=row.sample_text,
        sample_header=column_map.sample,
        cells=tuple(zip(header, padded, strict=False)),
        problems=tuple(row.problems),
        suggestions=tuple(row.suggestions),
        misshapen=row.problems[0]["code"] in MISSHAPEN,
        answered=answered is not None,
    )
