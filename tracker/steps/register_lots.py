"""Register a season's lots from one file: the rows that can be are, the others are kept with what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from tracker.domain.custody import Act
from tracker.domain.lot import split_offer
from tracker.errors import TrackerError
from tracker.files.lots_file import LotEntry, LotRow, read_lots
from tracker.files.table_file import read_table
from tracker.steps.register_lot import NewLot, facts_given, register_lot
from tracker.storage.kept import keep_refusal, practice_in_force
from tracker.storage.lots import Field, Lot, facts_of
from tracker.storage.people import Producer

Progress = Callable[[int, int], None]
PARTS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class LineAnswer:
    """What became of one line: the number it was given, or the complaint.

    known: it was taken in before; words: what a person should look at before it is taken in.
    """

    line: int
    made: int | None
    complaint: TrackerError | None
    known: bool = False
    words: str = ""


def register_lots(
    session: Session,
    name: str,
    content: bytes,
    act: Act,
    *,
    sheet: str | None = None,
    progress: Progress | None = None,
) -> tuple[LineAnswer, ...]:
    """Register each row of the file; a row refused does not touch the others, and is kept as it was given.

    Raises what read_table and read_lots raise for a file that is no list of lots.
    """
    table = read_table(name, content, sheet=sheet)
    rows = read_lots(table)
    what = f"register lots from {name}"
    return each_line(session, table.header, rows, _take, what, act, progress, _known)


def each_line(
    session: Session,
    header: Sequence[str],
    rows: Sequence[Any],
    take: Callable[[Session, Any, Act], LineAnswer],
    what: str,
    act: Act,
    progress: Progress | None,
    known: Callable[[Session, Any, Act, TrackerError], bool] = lambda *_: False,
) -> tuple[LineAnswer, ...]:
    """Take in each row of a list, all of the row or nothing, and keep each refusal with the cells as written.

    known: whether a row was refused because it was taken in before, just as it is.
    """
    answers = []
    for done, row in enumerate(rows, start=1):
        answers.append(_answer(session, row, take, act, known))
        if progress:
            progress(done, len(rows))
    for row, answer in zip(rows, answers, strict=True):
        if answer.complaint is not None and not answer.known:
            given = dict(zip(header, row.cells, strict=False))
            keep_refusal(session, act.now, what, act.by.key, given, answer.complaint)
    return tuple(answers)


def _answer(
    session: Session,
    row: Any,
    take: Callable[[Session, Any, Act], LineAnswer],
    act: Act,
    known: Callable[[Session, Any, Act, TrackerError], bool],
) -> LineAnswer:
    if row.problem is not None:
        return LineAnswer(row.line, None, row.problem)
    try:
        with session.begin_nested():
            return take(session, row, act)
    except TrackerError as refused:
        refused.line = row.line
        return LineAnswer(row.line, None, refused, known=known(session, row, act, refused))


def _take(session: Session, row: LotRow, act: Act) -> LineAnswer:
    assert row.entry is not None, "a row without a problem is a lot"
    return LineAnswer(row.line, register_lot(session, as_new_lot(row.entry), act).id, None)


def _known(session: Session, row: LotRow, act: Act, refused: TrackerError) -> bool:
    assert row.entry is not None, "a row without a problem is a lot"
    return refused.code == "lot-known" and _as_registered(session, row.entry, act)


def _as_registered(session: Session, entry: LotEntry, act: Act) -> bool:
    """Whether the lot that is known is this very one; one with other facts is a contradiction, and kept."""
    facts = facts_given(as_new_lot(entry), act)
    wanted = select(Lot).join(Field).join(Producer).options(joinedload(Lot.field))
    known = session.scalars(
        wanted.where(
            Producer.name == entry.producer,
            Field.name == facts.field_name,
            Lot.cutting == facts.cutting,
            Lot.season == facts.harvest_date.year,
        )
    )
    return any(facts_of(lot) == facts for lot in known)


def as_new_lot(entry: LotEntry) -> NewLot:
    """A line of a file as a lot to be registered."""
    return NewLot(
        producer=entry.producer,
        field=entry.field,
        cutting=entry.cutting,
        forage=entry.forage,
        harvested=entry.harvested,
        bale_shape=entry.bale_shape,
        bale_count=entry.bale_count,
        bale_mass=entry.bale_mass_lb,
        storage=entry.storage,
        location=entry.location,
        note=entry.note,
    )


def register_in_parts(session: Session, given: NewLot, act: Act) -> tuple[Lot, ...]:
    """Register a lot that is too large as several, A, B, C, as even as can be; one that is not, as it is.

    Raises as register_lot.
    """
    counts = split_offer(facts_given(given, act), practice_in_force(session))
    if len(counts) == 1:
        return (register_lot(session, given, act),)
    names = PARTS if len(counts) <= len(PARTS) else [str(number) for number in range(1, len(counts) + 1)]
    return tuple(
        register_lot(session, _part(given, name, count), act)
        for name, count in zip(names, counts, strict=False)
    )


def _part(given: NewLot, name: str, count: int) -> NewLot:
    return replace(given, part=name, bale_count=count)
