"""The coring plan, and the composite sample it asks for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, Text, UniqueConstraint, bindparam, select, text
from sqlalchemy.orm import Mapped, Session, joinedload, mapped_column, relationship

from tracker.storage.base import Base, Plain, Utc
from tracker.storage.lots import Field, Lot

# Of the few lots that were sampled several times.
SEVERAL = text("number > 1")


class Sample(Base):
    """All cores of one lot in one bag. Made when its plan is issued; number counts the samples of the lot."""

    __tablename__ = "sample"
    __table_args__ = (
        UniqueConstraint("lot_id", "number"),
        Index("ix_sample_several", "lot_id", sqlite_where=SEVERAL, postgresql_where=SEVERAL),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"))
    number: Mapped[int]

    lot: Mapped[Lot] = relationship(lazy="raise")


class Plan(Base):
    """One version of a coring plan, whole and frozen; a change is the next version."""

    __tablename__ = "coring_plan"
    __table_args__ = (UniqueConstraint("sample_id", "version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), index=True)
    version: Mapped[int]
    body: Mapped[Any] = mapped_column(Plain)
    issued_at: Mapped[datetime] = mapped_column(Utc)
    issued_by: Mapped[str] = mapped_column(Text)


def sample_with_lot(session: Session, sample_id: int) -> Sample:
    """The sample with its lot, field and producer loaded, also where the session knew it bare."""
    (found,) = samples_with_lots(session, [sample_id])
    return found


def samples_with_lots(session: Session, ids: Sequence[int]) -> Sequence[Sample]:
    """The samples with their lots, fields and producers loaded."""
    loading = joinedload(Sample.lot).joinedload(Lot.field).joinedload(Field.producer)
    wanted = select(Sample).where(Sample.id.in_(ids)).options(loading)
    return session.scalars(wanted.execution_options(populate_existing=True)).all()


def samples_of(session: Session, lot_id: int) -> Sequence[Sample]:
    """The lot's samples, oldest first."""
    return session.scalars(select(Sample).where(Sample.lot_id == lot_id).order_by(Sample.number)).all()


# Made once: an act should not wait for a sentence of SQL to be written.
_NEWEST = select(Plan).where(Plan.sample_id == bindparam("sample")).order_by(Plan.version.desc()).limit(1)


def plan_in_force(session: Session, sample_id: int) -> Plan:
    """The latest version of the sample's plan; every sample has one."""
    return session.scalars(_NEWEST, {"sample": sample_id}).one()
