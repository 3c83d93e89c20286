"""Where the samples are, for how long, which are late or lost, and how long the answers took."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import ColumnElement, case, func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.turnaround import rank_of
from tracker.domain.units import to_places
from tracker.domain.way import WAITING, waits_for, waits_so
from tracker.lookups.page import Key, Page, page_of, rows_of
from tracker.lookups.programme.figure import Asked, Cells, Figure, Listing, Scope, hay_said, listing
from tracker.storage.coring import Sample
from tracker.storage.custody import UNDER_WAY, EventRow, StandingRow
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer, party_names
from tracker.storage.tallies import AnswerTime

# Ages are told in whole days begun: up to 2 days is less than three of them.
AGES = ((2, "up to 2 days"), (7, "3 to 7 days"), (None, "over 7 days"))
TIMES = (
    "Tag",
    "Lot",
    "Hay",
    "Cored (UTC)",
    "Received (UTC)",
    "First report (UTC)",
    "Days from coring",
    "Days from receipt",
)
HAY = ("Tag", "Lot", "Hay", "With", "Since (UTC)")
Row = tuple[Any, ...]
# As no index of all samples holds it: those that wait are found by their own index, in the order of their wait.
STATE = StandingRow.state + ""


def stations(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """How many samples wait for what, and for how long."""
    days = [most for most, _ in AGES if most is not None]
    older = [
        (StandingRow.last_at > scope.now - timedelta(days=most + 1), age) for age, most in enumerate(days)
    ]
    alike = (STATE, StandingRow.hold.is_not(None), case(*older, else_=len(days)))
    wanted = _of_season(scope, func.count(), *alike).where(UNDER_WAY).group_by(*alike)
    ages: Counter[tuple[str | None, int]] = Counter()
    for count, state, held, age in session.execute(wanted):
        ages[(waits_for(state, "on hold" if held else None), age)] += count
    figures = []
    for what in WAITING:
        parts = tuple(ages[(what, age)] for age in range(len(AGES)))
        if sum(parts):
            told = ", ".join(
                f"{count} for {words}" for count, (_, words) in zip(parts, AGES, strict=True) if count
            )
            figures.append(Figure(f"station:{what}", f"wait for {what}", sum(parts), "samples", told, parts))
    return tuple(figures)


def at_station(session: Session, scope: Scope, asked: Asked) -> Listing:
    """The samples that wait for this, the longest first."""
    rows, following = _rows(session, scope, asked, UNDER_WAY, _waits_for(asked.which))
    page = Page(tuple(_cells(session, rows)), following)
    return listing(f"Samples that wait for {asked.which}", "The longest wait comes first.", HAY, page, 0)


def late_and_lost(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """How many have waited too long, and how many are lost."""
    days = scope.practice.number("late_days")
    late = session.scalar(_of_season(scope, func.count()).where(*_late(scope))) or 0
    lost = session.scalar(_of_season(scope, func.count()).where(StandingRow.state == "lost")) or 0
    return (
        Figure("late", "late", late, "samples", f"nothing happened for over {days} days"),
        Figure("lost", "lost", lost, "samples", "said to be lost"),
    )


def late(session: Session, scope: Scope, asked: Asked) -> Listing:
    """The late ones, with what they wait for."""
    rows, following = _rows(session, scope, asked, *_late(scope))
    waits = [waits_for(standing.state, standing.hold) for standing, *_ in rows]
    lines = ((*cells, what) for cells, what in zip(_cells(session, rows), waits, strict=True))
    words = f"Nothing happened to them for over {scope.practice.number('late_days')} days."
    return listing("Late samples", words, (*HAY, "Waits for"), Page(tuple(lines), following), 0)


def lost(session: Session, scope: Scope, asked: Asked) -> Listing:
    """The lost ones, with what is known of it."""
    rows, following = _rows(session, scope, asked, StandingRow.state == "lost")
    ids = [standing.sample_id for standing, *_ in rows]
    told = _circumstances(session, ids)
    lines = ((*cells, told.get(one, "")) for cells, one in zip(_cells(session, rows), ids, strict=True))
    page = Page(tuple(lines), following)
    return listing("Lost samples", "Said to be lost, and by what.", (*HAY, "What is known"), page, 0)


def _circumstances(session: Session, ids: Sequence[int]) -> dict[int, str]:
    wanted = (
        select(EventRow).where(EventRow.kind == "lost", EventRow.sample_id.in_(ids)).order_by(EventRow.seq)
    )
    return {row.sample_id or 0: str(row.data.get("circumstances", "")) for row in session.scalars(wanted)}


def turnaround(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """Days from the coring, and from the receipt, to the first report: median and 90th centile by nearest rank."""
    figures = []
    for name, took in (("coring", AnswerTime.from_coring), ("receipt", AnswerTime.from_receipt)):
        ours = (AnswerTime.season == scope.season, took.is_not(None))
        count = session.scalar(select(func.count()).where(*ours)) or 0
        for percent, words in ((50, "median"), (90, "90th centile")):
            seconds = None
            if count:
                ranked = select(took).where(*ours).order_by(took).offset(rank_of(count, percent) - 1).limit(1)
                seconds = session.scalars(ranked).one()
            told = f"{words} of {count} samples"
            figures.append(
                Figure("turnaround", f"from {name} to report, {words}", _days(seconds), "days", told)
            )
    return tuple(figures)


def reported(session: Session, scope: Scope, asked: Asked) -> Listing:
    """Every sample with a report, the slowest first."""
    wanted: Any = (
        _of_lots(
            select(AnswerTime, StandingRow.code, Lot.id, Producer.name, Field.name, Lot.cutting), AnswerTime
        )
        .join(StandingRow, StandingRow.sample_id == AnswerTime.sample_id)
        .where(AnswerTime.season == scope.season)
    )
    by = [AnswerTime.from_coring, AnswerTime.sample_id]
    page = page_of(session, wanted, by, _time_cells, asked.after, asked.limit, down=True)
    return listing("How long each answer took", "The slowest comes first.", TIMES, page, 0)


def _time_cells(
    took: AnswerTime, code: str | None, lot: int, producer: str, field: str, cutting: int
) -> Cells:
    return (
        payload.shown(code) if code else None,
        lot,
        hay_said(producer, field, cutting),
        took.cored_at,
        took.received_at,
        took.reported_at,
        _days(took.from_coring),
        _days(took.from_receipt),
    )


def _days(seconds: int | None) -> Decimal | None:
    return None if seconds is None else to_places(Decimal(seconds) / 86_400, 1)


def _waits_for(*what: str) -> ColumnElement[bool]:
    free, held = waits_so(*what)
    on_hold = StandingRow.hold.is_not(None)
    return (STATE.in_(free) & ~on_hold) | (STATE.in_(held) & on_hold)


def _late(scope: Scope) -> tuple[Any, ...]:
    since = scope.now - timedelta(days=float(scope.practice.number("late_days")))
    return UNDER_WAY, _waits_for(*WAITING), StandingRow.last_at < since


def _in(scope: Scope) -> ColumnElement[bool]:
    # As a sum, which no index holds: what is asked for is found by what waits, not among all the season's lots.
    return Lot.season + 0 == scope.season


def _of_season(scope: Scope, *what: Any) -> Any:
    of_lots = select(*what).select_from(StandingRow).join(Sample, Sample.id == StandingRow.sample_id)
    return of_lots.join(Lot, Lot.id == Sample.lot_id).where(_in(scope))


def _of_lots(wanted: Any, of: Any) -> Any:
    return (
        wanted.select_from(of)
        .join(Sample, Sample.id == of.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
    )


def _rows(session: Session, scope: Scope, asked: Asked, *which: Any) -> tuple[list[Row], Key | None]:
    """A page of standings with their lots and hay, the longest wait first."""
    wanted = _of_lots(select(StandingRow, Lot.id, Producer.name, Field.name, Lot.cutting), StandingRow)
    by = [StandingRow.last_at, StandingRow.sample_id]
    return rows_of(session, wanted.where(_in(scope), *which), by, asked.after, asked.limit)


def _cells(session: Session, rows: Sequence[Row]) -> Iterator[Cells]:
    names = party_names(session)
    for standing, lot, producer, field, cutting in rows:
        holder = standing.transfer_to or standing.holder or ""
        code = payload.shown(standing.code) if standing.code else None
        yield code, lot, hay_said(producer, field, cutting), names.get(holder, holder), standing.last_at
