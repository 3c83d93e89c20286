"""The log itself, every reading of a balance, and everything that was refused."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from tracker.domain.times import at_offset
from tracker.lookups.exports.table import Cells, Column, Table, read
from tracker.storage.base import canonical
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.intake import Weighing
from tracker.storage.kept import KeptRefusal
from tracker.storage.lots import Lot


def _events(session: Session, season: int | None) -> Iterator[Cells]:
    wanted = select(
        EventRow.seq,
        EventRow.event_id,
        EventRow.kind,
        EventRow.lot_id,
        EventRow.sample_id,
        EventRow.occurred_at,
        EventRow.occurred_offset,
        EventRow.recorded_at,
        EventRow.by,
        EventRow.role,
        EventRow.device,
        EventRow.device_at,
        EventRow.late_reason,
        EventRow.note,
        EventRow.data,
    )
    if season is not None:
        wanted = wanted.where(EventRow.lot_id.in_(select(Lot.id).where(Lot.season == season)))
    for row in read(session, wanted.order_by(EventRow.seq)):
        seq, event_id, kind, lot, sample, occurred, offset, recorded, *rest, data = row
        yield (
            seq,
            event_id,
            kind,
            lot,
            sample,
            at_offset(occurred, offset),
            recorded,
            *rest,
            canonical(data),
        )


def _weighings(session: Session, season: int | None) -> Iterator[Cells]:
    wanted = select(
        Weighing.id,
        Weighing.sample_id,
        Weighing.what,
        Weighing.grams,
        Weighing.zeroed,
        Weighing.balance,
        Weighing.weighed_at,
        Weighing.corrects_id,
    )
    if season is not None:
        wanted = wanted.where(Weighing.sample_id.in_(_samples_of(Lot.season == season)))
    yield from (tuple(row) for row in read(session, wanted.order_by(Weighing.id)))


def _samples_of(which: ColumnElement[bool]) -> ColumnElement[int]:
    return select(Sample.id).join(Lot, Lot.id == Sample.lot_id).where(which)  # type: ignore[return-value]


def _refusals(session: Session, season: int | None) -> Iterator[Cells]:
    wanted = select(KeptRefusal.id, KeptRefusal.at, KeptRefusal.by, KeptRefusal.act, KeptRefusal.code)
    # A refusal belongs to no lot; of a season go those of its year.
    for row in read(session, wanted.order_by(KeptRefusal.id)):
        if season is None or row.at.year == season:
            yield tuple(row)


EVENTS = Table(
    "events",
    "The log: everything that happened, in the order the office heard of it.",
    (
        Column("entry", "number in the log, without a hole", "integer"),
        Column("event_id", "name given by the device"),
        Column("kind", "what happened"),
        Column("lot", "number of the lot", "integer"),
        Column("sample", "number of the sample", "integer"),
        Column("occurred_at", "when it happened, at the device's offset", "moment"),
        Column("recorded_at", "when the office heard of it, UTC", "moment"),
        Column("by", "short name of who did it"),
        Column("role", "his role then"),
        Column("device", "where it was entered"),
        Column("device_at", "what the device's clock said, where it was not believed"),
        Column("late_reason", "why it was entered late or out of order"),
        Column("note", "what was noted"),
        Column("data", "what belongs to it, as JSON"),
    ),
    _events,
)
WEIGHINGS = Table(
    "weighings",
    "Every reading of a balance; a correction is a row of its own.",
    (
        Column("weighing", "number of the reading", "integer"),
        Column("sample", "number of the sample", "integer"),
        Column("what", "tare, fresh, dry, dry again or composite"),
        Column("grams", "as the balance showed it", "number", "g"),
        Column("zeroed", "balance set to zero with the sack on it", "yes/no"),
        Column("balance", "which balance"),
        Column("weighed_at", "UTC", "moment"),
        Column("corrects", "number of the reading it corrects", "integer"),
    ),
    _weighings,
)
REFUSALS = Table(
    "refusals",
    "What was refused, by whom it was asked and why; the values given stay at the office.",
    (
        Column("refusal", "number of the refusal", "integer"),
        Column("at", "UTC", "moment"),
        Column("by", "short name of who asked"),
        Column("act", "what was asked for"),
        Column("code", "why it was refused; docs/refusals.md explains each"),
    ),
    _refusals,
)
