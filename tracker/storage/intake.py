"""Weighings as the balance showed them, and what was in the oven together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import Decimal
from functools import cache
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    ColumnElement,
    ForeignKey,
    Index,
    LargeBinary,
    Select,
    Text,
    UniqueConstraint,
    bindparam,
    select,
    text,
)
from sqlalchemy.orm import Mapped, Session, aliased, mapped_column

from tracker.domain import dry_matter, intake
from tracker.domain.practice import Practice
from tracker.errors import Refused
from tracker.storage.base import Base, Digits, Plain, Utc
from tracker.storage.custody import Undone

# Of the few sacks that were weighed dry twice.
AGAIN = text("what = 'dry again'")


class Weighing(Base):
    """One reading in grams, digits kept; a correction is another row that names the one it corrects.

    zeroed: the balance was set to zero with the sack on it. step: what the balance counts in, where that is more
    than one in the last digit. batch_n and batch_sd: the tare is the mean of so many sacks and not this one's.
    """

    __tablename__ = "weighing"
    __table_args__ = (
        CheckConstraint("what in ('tare', 'fresh', 'dry', 'dry again', 'composite')", name="what"),
        Index("ix_weighing_balance_id", "balance", "id"),
        Index("ix_weighing_again", "sample_id", sqlite_where=AGAIN, postgresql_where=AGAIN),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    event_id: Mapped[str] = mapped_column(ForeignKey("event.event_id"), unique=True)
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), index=True)
    what: Mapped[str] = mapped_column(Text)
    grams: Mapped[Decimal] = mapped_column(Digits)
    zeroed: Mapped[bool]
    step: Mapped[Decimal | None] = mapped_column(Digits)
    batch_n: Mapped[int | None]
    batch_sd: Mapped[Decimal | None] = mapped_column(Digits)
    balance: Mapped[str] = mapped_column(Text)
    weighed_at: Mapped[datetime] = mapped_column(Utc)
    corrects_id: Mapped[int | None] = mapped_column(ForeignKey("weighing.id"), unique=True)


class OvenLoad(Base):
    """The sacks that go in and come out together. Out is empty while the load is in the oven.

    offset_minutes: from UTC, of the device that recorded the load.
    """

    __tablename__ = "oven_load"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text, unique=True)
    oven: Mapped[str] = mapped_column(Text)
    set_celsius: Mapped[Decimal] = mapped_column(Digits)
    in_at: Mapped[datetime] = mapped_column(Utc)
    out_at: Mapped[datetime | None] = mapped_column(Utc)
    offset_minutes: Mapped[int]


class OvenPlace(Base):
    """One sack in one load; positions count from 1."""

    __tablename__ = "oven_place"
    __table_args__ = (UniqueConstraint("load_id", "position"), UniqueConstraint("sample_id", "load_id"))

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("oven_load.id"))
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), index=True)
    position: Mapped[int]


class SetAside(Base):
    """A sack of a load that is not weighed dry with it, and why."""

    __tablename__ = "set_aside"

    id: Mapped[int] = mapped_column(primary_key=True)
    place_id: Mapped[int] = mapped_column(ForeignKey("oven_place.id"), unique=True)
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class LoadClosed(Base):
    """A load in which every sack has been accounted for."""

    __tablename__ = "load_closed"

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("oven_load.id"), unique=True)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class TareBatch(Base):
    """Empty sacks of one batch, weighed one by one; readings in grams as text, with their digits."""

    __tablename__ = "tare_batch"

    id: Mapped[int] = mapped_column(primary_key=True)
    readings: Mapped[Any] = mapped_column(Plain)
    balance: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class Photo(Base):
    """A picture kept with an entry. kind: its media type, by its content; sha256: of the content, in hex."""

    __tablename__ = "photo"
    __table_args__ = (CheckConstraint("kind in ('image/jpeg', 'image/png')", name="kind"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    event_id: Mapped[str] = mapped_column(ForeignKey("event.event_id"), index=True)
    sha256: Mapped[str] = mapped_column(Text, index=True)
    kind: Mapped[str] = mapped_column(Text)
    content: Mapped[bytes] = mapped_column(LargeBinary)


def weighings_in_force(session: Session, sample_id: int) -> list[Weighing]:
    """The sample's weighings without those that were corrected or taken back, oldest first."""
    return weighings_in_force_of(session, [sample_id])


def weighings_in_force_of(session: Session, ids: Sequence[int]) -> list[Weighing]:
    """The same for several samples at once."""
    return list(session.scalars(_in_force(), {"ids": ids}))


@cache
def _in_force() -> Select[Any]:
    correction = aliased(Weighing)
    corrected = select(correction.id).where(correction.corrects_id == Weighing.id).exists()
    asked = Weighing.sample_id.in_(bindparam("ids", expanding=True))
    return select(Weighing).where(asked, ~corrected, ~_undone()).order_by(Weighing.id)


def _undone() -> ColumnElement[bool]:
    return select(Undone.event_id).where(Undone.event_id == Weighing.event_id).exists()


def before_on(session: Session, balance: str) -> list[intake.Weighing]:
    """What this balance showed last, as a list of one; empty when it has not been used or has no name."""
    if not balance:
        return []
    # What was taken back was likely this very sack under the wrong name.
    shown = select(Weighing).where(Weighing.balance == balance, ~_undone())
    last = shown.order_by(Weighing.id.desc()).limit(1)
    return [reading_of(row) for row in session.scalars(last)]


def reading_of(row: Weighing) -> intake.Weighing:
    """The row as the domain judges it."""
    return intake.Weighing(row.what, row.grams, zeroed=row.zeroed, step=row.step)


def tare_of(row: Weighing) -> intake.Tare:
    """The tare as the domain uses it: of this sack, or the mean of its batch."""
    if row.batch_n is None or row.batch_sd is None:
        return reading_of(row)
    return intake.BatchTare(row.grams, row.batch_sd, row.batch_n, row.step or reading_of(row).resolution)


def partial_dm_of(weighings: Iterable[Weighing], practice: Practice) -> dry_matter.PartialDM | None:
    """Partial dry matter by weighings in force, or None while one is wanting or the dry hay outweighs the fresh."""
    rows = {row.what: row for row in weighings}
    if "fresh" not in rows or "dry" not in rows:
        return None
    tare = tare_of(rows["tare"]) if "tare" in rows else None
    try:
        return dry_matter.partial_dm(tare, reading_of(rows["fresh"]), reading_of(rows["dry"]), practice)
    except Refused:
        return None
