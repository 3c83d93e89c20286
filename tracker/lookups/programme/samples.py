"""Where the samples are, for how long, which are late or lost, and how long the answers took."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from labels import payload
from tracker.domain.custody import ENDED
from tracker.domain.turnaround import ranked
from tracker.domain.units import to_places
from tracker.domain.way import WAITING, waits_for
from tracker.lookups.programme.figure import Figure, Listing, Scope, listing
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer, party_names
from tracker.storage.results import ReportVersion

DONE = ("reported", "archived", *ENDED)
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


@dataclass(frozen=True)
class _Waiting:
    sample: int
    code: str | None
    lot: int
    hay: str
    holder: str
    since: datetime
    state: str
    waits_for: str

    def cells(self) -> tuple[object, ...]:
        return (payload.shown(self.code) if self.code else None, self.lot, self.hay, self.holder, self.since)


def stations(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """How many samples wait for what, and for how long."""
    found = _waiting(session, scope)
    ages = Counter((one.waits_for, _age(one.since, scope.now)) for one in found)
    figures = []
    for what in WAITING:
        parts = tuple(ages[(what, words)] for _, words in AGES)
        if sum(parts):
            told = ", ".join(
                f"{count} for {words}" for count, (_, words) in zip(parts, AGES, strict=True) if count
            )
            figures.append(Figure(f"station:{what}", f"wait for {what}", sum(parts), "samples", told, parts))
    return tuple(figures)


def at_station(session: Session, scope: Scope, which: str) -> Listing:
    """The samples that wait for this, the longest first."""
    rows = [one.cells() for one in _waiting(session, scope) if one.waits_for == which]
    return listing(f"Samples that wait for {which}", "The longest wait comes first.", HAY, rows, 0)


def late_and_lost(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """How many have waited too long, and how many are lost."""
    days = scope.practice.number("late_days")
    return (
        Figure(
            "late", "late", len(_late(session, scope)), "samples", f"nothing happened for over {days} days"
        ),
        Figure("lost", "lost", len(_lost(session, scope)), "samples", "said to be lost"),
    )


def late(session: Session, scope: Scope, which: str) -> Listing:
    """The late ones, with what they wait for."""
    rows = [(*one.cells(), one.waits_for) for one in _late(session, scope)]
    words = f"Nothing happened to them for over {scope.practice.number('late_days')} days."
    return listing("Late samples", words, (*HAY, "Waits for"), rows, 0)


def lost(session: Session, scope: Scope, which: str) -> Listing:
    """The lost ones, with what is known of it."""
    found = _lost(session, scope)
    told = _circumstances(session, [one.sample for one in found])
    rows = [(*one.cells(), told.get(one.sample, "")) for one in found]
    return listing("Lost samples", "Said to be lost, and by what.", (*HAY, "What is known"), rows, 0)


def _circumstances(session: Session, ids: Sequence[int]) -> dict[int, str]:
    wanted = select(EventRow).where(EventRow.kind == "lost", EventRow.sample_id.in_(ids))
    return {row.sample_id or 0: str(row.data.get("circumstances", "")) for row in session.scalars(wanted)}


def turnaround(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """Days from the coring, and from the receipt, to the first report: median and 90th centile by nearest rank."""
    found = _reported(session, scope)
    figures = []
    for name, begun in (("coring", 0), ("receipt", 1)):
        spans = [times[2] - at for *_, times in found if (at := times[begun]) is not None]
        for percent, words in ((50, "median"), (90, "90th centile")):
            value = _days(ranked(spans, percent)) if spans else None
            told = f"{words} of {len(spans)} samples"
            figures.append(Figure("turnaround", f"from {name} to report, {words}", value, "days", told))
    return tuple(figures)


def reported(session: Session, scope: Scope, which: str) -> Listing:
    """Every sample with a report, the slowest first."""
    rows = [
        (code, lot, hay, cored, received, issued, _rounded(cored, issued), _rounded(received, issued))
        for code, lot, hay, (cored, received, issued) in _reported(session, scope)
    ]
    rows.sort(key=lambda row: row[6] or Decimal(0), reverse=True)
    return listing("How long each answer took", "The slowest comes first.", TIMES, rows, 0)


Times = tuple[datetime | None, datetime | None, datetime]


def _reported(session: Session, scope: Scope) -> list[tuple[str | None, int, str, Times]]:
    first = select(ReportVersion).where(ReportVersion.version == 1).subquery()
    cored, received = _first(session, scope, "cored"), _first(session, scope, "received")
    wanted = (
        select(Sample.id, StandingRow.code, Lot.id, Producer.name, Field.name, Lot.cutting, first.c.issued_at)
        .join(first, first.c.sample_id == Sample.id)
        .join(StandingRow, StandingRow.sample_id == Sample.id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where(Lot.season == scope.season)
    )
    return [
        (
            payload.shown(code) if code else None,
            lot,
            f"{producer}, {field}, cutting {cutting}",
            (cored.get(sample), received.get(sample), issued),
        )
        for sample, code, lot, producer, field, cutting, issued in session.execute(wanted)
    ]


def _first(session: Session, scope: Scope, kind: str) -> dict[int, datetime]:
    """When this happened first to each sample; by whom it was received matters not here, but that it was the lab."""
    wanted = (
        select(EventRow.sample_id, EventRow.occurred_at)
        .join(Lot, Lot.id == EventRow.lot_id)
        .where(EventRow.kind == kind, Lot.season == scope.season, EventRow.sample_id.is_not(None))
        .order_by(EventRow.occurred_at.desc())
    )
    if kind == "received":
        wanted = wanted.where(EventRow.role != "technician")
    return {sample: at for sample, at in session.execute(wanted) if sample is not None}


def _days(span: timedelta) -> Decimal:
    return to_places(Decimal(int(span.total_seconds())) / 86_400, 1)


def _rounded(begun: datetime | None, ended: datetime) -> Decimal | None:
    return None if begun is None else _days(ended - begun)


def _late(session: Session, scope: Scope) -> list[_Waiting]:
    most = timedelta(days=float(scope.practice.number("late_days")))
    return [one for one in _waiting(session, scope) if scope.now - one.since > most]


def _lost(session: Session, scope: Scope) -> list[_Waiting]:
    return list(_standing(session, scope, lost_ones=True))


def _waiting(session: Session, scope: Scope) -> list[_Waiting]:
    return [one for one in _standing(session, scope) if one.waits_for]


def _standing(session: Session, scope: Scope, lost_ones: bool = False) -> Iterable[_Waiting]:
    names, other = party_names(session), aliased(StandingRow)
    which = other.state == "lost" if lost_ones else other.state.not_in(DONE) | other.hold.is_not(None)
    wanted = (
        select(other, Lot.id, Lot.cutting, Field.name, Producer.name)
        .join(Sample, Sample.id == other.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where(Lot.season == scope.season, which)
        .order_by(other.last_at)
    )
    for row, lot, cutting, field, producer in session.execute(wanted):
        holder = row.transfer_to or row.holder or ""
        yield _Waiting(
            row.sample_id,
            row.code,
            lot,
            f"{producer}, {field}, cutting {cutting}",
            names.get(holder, holder),
            row.last_at,
            row.state,
            waits_for(row.state, row.hold) or "",
        )


def _age(since: datetime, now: datetime) -> str:
    days = (now - since) / timedelta(days=1)
    # Up to 2 days is less than three of them: ages are told in whole days begun.
    return next(words for most, words in AGES if most is None or days < most + 1)
