"""Make again what is kept beside the log for questions: these tables hold nothing of their own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from tracker.domain.coring import CoringPlan
from tracker.domain.custody import fold
from tracker.domain.receipt_reasons import LABEL_EVENTS
from tracker.storage.base import Base
from tracker.storage.bulk import read_raw, table_of
from tracker.storage.coring import Plan, Sample
from tracker.storage.custody import EventRow, StandingRow, events_of, keep_standing
from tracker.storage.hay_counts import HayCount, HayShare
from tracker.storage.intake import AGAIN, Weighing
from tracker.storage.people import Producer
from tracker.storage.released import ReleasedValue, keep_released
from tracker.storage.results import ReportVersion, latest_report
from tracker.storage.search_words import SearchWord, keep_producer_words, keep_tag_words
from tracker.storage.tags import Tag
from tracker.storage.tallies import (
    AnswerTime,
    CoringTally,
    DryAgain,
    LabelTally,
    tally_answer,
    tally_coring,
    tally_dry_again,
    tally_label,
)

AT_A_TIME = 2_000
# Their last column is how many.
COUNTS = (HayCount, HayShare)


@dataclass(frozen=True)
class Counted:
    """What was counted again. rows: how many there are now; wrong: how many were otherwise, wanting or too many."""

    what: str
    rows: int
    wrong: int


def count_again(session: Session) -> tuple[Counted, ...]:
    """Make every such table again from the log, the plans, the weighings and the reports, and say what differed."""
    found = tuple(_again(session, what, rows, make) for what, rows, make in _BESIDE)
    # What was read from these tables before may have been something else.
    session.expire_all()
    return found


def _again(
    session: Session, what: str, tables: tuple[type[Base], ...], make: Callable[[Session], None]
) -> Counted:
    before = _rows(session, tables)
    for table in tables:
        session.execute(delete(table_of(table)))
    make(session)
    session.flush()
    after = _rows(session, tables)
    # A row that says something else is one that is wanting and one too many.
    return Counted(what, len(after), max(len(before - after), len(after - before)))


def _rows(session: Session, tables: tuple[type[Base], ...]) -> set[tuple[Any, ...]]:
    return {
        (table.__tablename__, *row)
        for table in tables
        for row in read_raw(session, select(table_of(table)))
        # Lots that left a group leave a count of none.
        if table not in COUNTS or row[-1]
    }


def _standings(session: Session) -> None:
    begun = select(Sample.id).where(select(EventRow.seq).where(EventRow.sample_id == Sample.id).exists())
    for sample in session.scalars(begun.order_by(Sample.id)).all():
        keep_standing(session, sample, fold(events_of(session, sample)))


def _corings(session: Session) -> None:
    cored = (
        select(EventRow, Plan.body)
        .join(Plan, Plan.sample_id == EventRow.sample_id)
        .where(EventRow.kind == "cored")
        .order_by(EventRow.seq, Plan.version)
        .execution_options(yield_per=AT_A_TIME)
    )
    for event, body in session.execute(cored):
        plan = CoringPlan.from_dict(body)
        if plan.version == int(event.data["plan"]):
            tally_coring(session, event, plan)


def _labels(session: Session) -> None:
    told = select(EventRow).where(EventRow.kind.in_(("bagged", *LABEL_EVENTS))).order_by(EventRow.seq)
    for event in session.scalars(told.execution_options(yield_per=AT_A_TIME)):
        tally_label(session, event)


def _reported(session: Session) -> list[int]:
    first = select(ReportVersion.sample_id).where(ReportVersion.version == 1)
    return list(session.scalars(first.order_by(ReportVersion.sample_id)))


def _answers(session: Session) -> None:
    for sample in _reported(session):
        tally_answer(session, sample)


def _twice(session: Session) -> None:
    again = select(Weighing.sample_id).where(AGAIN).distinct().order_by(Weighing.sample_id)
    for sample in session.scalars(again).all():
        tally_dry_again(session, sample)


def _hay(session: Session) -> None:
    for sample in _reported(session):
        report = latest_report(session, sample)
        assert report is not None
        keep_released(session, sample, report.body)
        session.expunge(report)


def _words(session: Session) -> None:
    for producer in session.scalars(select(Producer)).all():
        keep_producer_words(session, producer)
    keep_tag_words(session, session.scalars(select(Tag)))


_BESIDE = (
    ("where samples stand", (StandingRow,), _standings),
    ("cores taken", (CoringTally,), _corings),
    ("labels", (LabelTally,), _labels),
    ("days to the answer", (AnswerTime,), _answers),
    ("dry weights taken twice", (DryAgain,), _twice),
    ("hay of the year", (ReleasedValue, *COUNTS), _hay),
    ("words to find by", (SearchWord,), _words),
)
