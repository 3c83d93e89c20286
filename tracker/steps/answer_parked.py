"""Decide about a parked row: take it in for the sample it belongs to, or set it aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from tracker.domain.custody import Act
from tracker.errors import Conflict, NotFound, Refused
from tracker.files.column_map import ColumnMap, load_column_map
from tracker.files.results_file import each_result
from tracker.files.table import Row
from tracker.files.table_file import read_table
from tracker.steps.check_run import hold_where_rejected
from tracker.steps.print_tags import require_reason
from tracker.steps.record_results import attach, event_kind
from tracker.steps.sample_for import sample_for
from tracker.storage.analysis import Analysis, ParkedAnswer, ParkedRow, ResultFile, Source, keep_repeats
from tracker.storage.base import LARGEST_ID

MISSHAPEN = ("row-too-short", "row-too-long", "broken-quotes")


def take_in(
    session: Session,
    number: int,
    code: str,
    act: Act,
    *,
    corrected: Mapping[str, str] | None = None,
    reason: str,
) -> Analysis:
    """Take the row in for the bag with this code. corrected: header -> what its cell should say.

    The parked row and the file stay as they were; the decision stands beside them. Raises NotFound
    `unknown-parked-row`, Conflict `parked-answered`, Refused `reason-missing`, `no-such-column`, `still-wrong`, and
    what sample_for and custody raise.
    """
    parked = _open(session, number)
    require_reason(reason)
    file = session.get_one(ResultFile, parked.file_id, options=(joinedload(ResultFile.map),))
    source = session.get_one(Source, file.map.source_id)
    column_map = load_column_map(file.map.body)
    table = read_table(file.name, file.content, sheet=file.sheet or None)
    _require_told(parked, column_map, corrected or {})
    cells = _corrected(table.header, parked.cells, corrected or {})
    repaired = replace(table, rows=(Row(parked.line, cells, None),))
    row = next(iter(each_result(repaired, column_map)))
    if row.problems:
        problem = row.problems[0]
        raise Refused(
            "still-wrong",
            problem.words,
            field=problem.field or None,
            line=parked.line,
            remedy=problem.suggestion,
        )
    sample = sample_for(session, code)
    analysis = attach(session, sample, row, file, source.name, event_kind(source), column_map.instrument, act)
    keep_repeats(session, file.id)
    hold_where_rejected(session, file, [sample.id], act)
    _answer(session, parked, act, reason, analysis.id)
    return analysis


def _require_told(parked: ParkedRow, column_map: ColumnMap, corrected: Mapping[str, str]) -> None:
    """Which cell of a misshapen row is whose nobody can tell, so a person tells each of them, or it waits."""
    problem = parked.problems[0]
    if problem["code"] not in MISSHAPEN:
        return
    untold = [name for name in column_map.headers() if name != column_map.sample and name not in corrected]
    if untold:
        raise Refused(
            "still-wrong",
            problem["message"],
            field=untold[0],
            line=parked.line,
            remedy=f"Say what stands under each header: {', '.join(untold)} too.",
        )


def _corrected(header: tuple[str, ...], cells: list[str], corrected: Mapping[str, str]) -> tuple[str, ...]:
    for name in corrected:
        if name not in header:
            raise Refused(
                "no-such-column",
                f"The file has no column {name!r}.",
                field=name,
                remedy=f"It has: {', '.join(header)}.",
            )
    padded = [*cells, *[""] * (len(header) - len(cells))]
    return tuple(corrected.get(name, cell) for name, cell in zip(header, padded, strict=False))


def set_aside(session: Session, number: int, act: Act, *, reason: str) -> ParkedAnswer:
    """Decide that the row is not taken in. Raises as take_in."""
    parked = _open(session, number)
    require_reason(reason)
    return _answer(session, parked, act, reason, None)


def _open(session: Session, number: int) -> ParkedRow:
    parked = session.get(ParkedRow, number) if number <= LARGEST_ID else None
    if parked is None:
        raise NotFound(
            "unknown-parked-row",
            f"There is no parked row {number}.",
            field="row",
            remedy="`tracker parked` lists them.",
        )
    if session.scalar(select(ParkedAnswer.id).where(ParkedAnswer.parked_id == number)) is not None:
        raise Conflict(
            "parked-answered",
            f"Row {number} is decided already.",
            field="row",
            remedy="Nothing is left to do.",
        )
    return parked


def _answer(
    session: Session, parked: ParkedRow, act: Act, reason: str, analysis_id: int | None
) -> ParkedAnswer:
    row = ParkedAnswer(
        parked_id=parked.id, analysis_id=analysis_id, reason=reason.strip(), by=act.by.key, at=act.now
    )
    session.add(row)
    session.flush()
    return row
