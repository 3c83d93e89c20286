"""The coring plan, and the composite sample it asks for."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from tracker.storage.base import Base, Plain, Utc
from tracker.storage.lots import Lot


class Sample(Base):
    """All cores of one lot in one bag. Made when its plan is issued; number counts the samples of the lot."""

    __tablename__ = "sample"
    __table_args__ = (UniqueConstraint("lot_id", "number"),)

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
