"""The log: everything that happened, in the order the office heard of it. Rows are added and never changed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, Row, Text, bindparam, func, insert, select, text, update
from sqlalchemy.event import listens_for
from sqlalchemy.orm import Mapped, Session, SessionTransaction, mapped_column
from sqlalchemy.orm.util import identity_key

from tracker.domain.custody import ENDED, Event, Standing
from tracker.domain.times import CLOCK_SKEW, at_offset, moment
from tracker.storage.base import Base, Plain, Utc
from tracker.storage.bulk import ask, table_of


class EventRow(Base):
    """One event. seq has no holes: a missing row would show. occurred_offset is the device's, in minutes.

    device_at is what the device's clock said where it ran ahead of the office's, else empty.
    """

    __tablename__ = "event"
    __table_args__ = (
        Index("ix_event_sample_id_seq", "sample_id", "seq"),
        Index("ix_event_lot_id_seq", "lot_id", "seq"),
    )

    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    event_id: Mapped[str] = mapped_column(Text, unique=True)
    kind: Mapped[str] = mapped_column(Text)
    lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"))
    sample_id: Mapped[int | None] = mapped_column(ForeignKey("sample.id"))
    tag_id: Mapped[int | None] = mapped_column(ForeignKey("tag.id"), index=True)
    occurred_at: Mapped[datetime] = mapped_column(Utc)
    occurred_offset: Mapped[int]
    device_at: Mapped[str | None] = mapped_column(Text)
    recorded_at: Mapped[datetime] = mapped_column(Utc)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    role: Mapped[str] = mapped_column(Text)
    device: Mapped[str] = mapped_column(Text)
    note: Mapped[str] = mapped_column(Text)
    late_reason: Mapped[str] = mapped_column(Text)
    data: Mapped[Any] = mapped_column(Plain)


class Undone(Base):
    """An entry that was taken back at once, and the event that says so."""

    __tablename__ = "undone"

    event_id: Mapped[str] = mapped_column(ForeignKey("event.event_id"), primary_key=True)
    by_event_id: Mapped[str] = mapped_column(ForeignKey("event.event_id"), unique=True)


HELD = text("hold is not null")
# What somebody has still to do something for; literal, as it stands in the index.
DONE = ("reported", "archived", *ENDED)
UNDER_WAY = text(f"(state not in ({', '.join(map(repr, DONE))}) or hold is not null)")


class StandingRow(Base):
    """What a sample's events add up to, kept for questions; it can be made again from the log at any time."""

    __tablename__ = "standing"
    __table_args__ = (
        Index("ix_standing_state_last_at", "state", "last_at"),
        Index("ix_standing_held", "sample_id", sqlite_where=HELD, postgresql_where=HELD),
        Index(
            "ix_standing_under_way",
            "last_at",
            "sample_id",
            "state",
            "hold",
            sqlite_where=UNDER_WAY,
            postgresql_where=UNDER_WAY,
        ),
    )

    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), primary_key=True)
    state: Mapped[str] = mapped_column(Text)
    holder: Mapped[str | None] = mapped_column(ForeignKey("party.key"))
    transfer_to: Mapped[str | None] = mapped_column(ForeignKey("party.key"))
    hold: Mapped[str | None] = mapped_column(Text)
    code: Mapped[str | None] = mapped_column(Text, index=True)
    seal: Mapped[str | None] = mapped_column(Text)
    last_at: Mapped[datetime] = mapped_column(Utc)


# Made once: an act should not wait for a sentence of SQL to be written.
_EVENT, _STANDING = table_of(EventRow), table_of(StandingRow)
_LIFE = select(_EVENT).where(_EVENT.c.sample_id == bindparam("life")).order_by(_EVENT.c.seq)
_LAST = select(func.max(_EVENT.c.seq))
_NEW = insert(_EVENT)
_STANDS = update(_STANDING).where(_STANDING.c.sample_id == bindparam("life"))
_BEGINS = insert(_STANDING)


def events_of(session: Session, sample_id: int) -> list[Event]:
    """A sample's events in the order they were recorded."""
    return [as_event(row) for row in ask(session, _LIFE, life=sample_id)]


def keep_event(session: Session, row: EventRow) -> None:
    """Write the event at once. The session does not know the row: it would outlive a savepoint that is taken back."""
    values = {column.name: getattr(row, column.name) for column in _EVENT.columns}
    ask(session, _NEW, **values)


def keep_standing(session: Session, sample_id: int, standing: Standing) -> None:
    """Write where the sample stands, at once."""
    values = projection(standing)
    if not ask(session, _STANDS, **values, life=sample_id).rowcount:
        ask(session, _BEGINS, **values, sample_id=sample_id)
    known = session.identity_map.get(identity_key(StandingRow, sample_id))
    if known is not None:
        session.expire(known)


@listens_for(Session, "after_soft_rollback")
def _read_again(session: Session, _: SessionTransaction) -> None:
    # What keep_standing wrote, and the rows were read from, may have been taken back.
    for row in session.identity_map.values():
        if isinstance(row, StandingRow):
            session.expire(row)


def as_event(row: EventRow | Row[Any]) -> Event:
    """The row as a value, its time at the offset the device had."""
    return Event(
        seq=row.seq,
        event_id=row.event_id,
        kind=row.kind,
        occurred_at=at_offset(row.occurred_at, row.occurred_offset),
        recorded_at=row.recorded_at,
        by=row.by,
        role=row.role,
        data=row.data,
        note=row.note,
        late_reason=row.late_reason,
        clock_doubted=row.device_at is not None and moment(row.device_at) > row.recorded_at + CLOCK_SKEW,
        device=row.device,
    )


def projection(standing: Standing) -> dict[str, Any]:
    """What the row beside the log says of a sample that stands so."""
    return {
        "state": standing.state,
        "holder": standing.holder.party if standing.holder else None,
        "transfer_to": standing.transfer.to.party if standing.transfer else None,
        "hold": " ".join(hold.reason for hold in standing.holds) or None,
        "code": standing.code,
        "seal": standing.seal,
        "last_at": standing.last_at,
    }


def has_ended(session: Session, sample_id: int) -> bool:
    """Whether nothing more can be done with the sample."""
    return session.get_one(StandingRow, sample_id).state in ENDED


def reprints_of(session: Session, tags: Collection[int]) -> Counter[int]:
    """How often each of these tags was printed again."""
    wanted = select(EventRow.tag_id).where(EventRow.kind == "tag reprinted", EventRow.tag_id.in_(tags))
    return Counter(tag for tag in session.scalars(wanted) if tag is not None)


def next_seq(session: Session) -> int:
    """The number the next event will have."""
    return (ask(session, _LAST).scalar() or 0) + 1
