"""Weighings as the balance showed them, and what was in the oven together."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from sqlalchemy import CheckConstraint, ForeignKey, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.storage.base import Base, Digits, Utc


class Weighing(Base):
    """One reading in grams, digits kept. what: tare, fresh, dry, or dry again (weighed blind a second time).

    Fresh and dry readings are sack and hay together, unless net says that the balance was zeroed on the sack.
    """

    __tablename__ = "weighing"
    __table_args__ = (
        CheckConstraint("what in ('tare', 'fresh', 'dry', 'dry again', 'composite')", name="what"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    event_id: Mapped[str] = mapped_column(ForeignKey("event.event_id"), unique=True)
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), index=True)
    what: Mapped[str] = mapped_column(Text)
    grams: Mapped[Decimal] = mapped_column(Digits)
    net: Mapped[bool]
    balance: Mapped[str] = mapped_column(Text)


class OvenLoad(Base):
    """The sacks that go in and come out together. Out is empty while the load is in the oven."""

    __tablename__ = "oven_load"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text, unique=True)
    oven: Mapped[str] = mapped_column(Text)
    set_celsius: Mapped[Decimal] = mapped_column(Digits)
    in_at: Mapped[datetime] = mapped_column(Utc)
    out_at: Mapped[datetime | None] = mapped_column(Utc)


class OvenPlace(Base):
    """One sack in one load; positions count from 1."""

    __tablename__ = "oven_place"
    __table_args__ = (UniqueConstraint("load_id", "position"), UniqueConstraint("load_id", "sample_id"))

    id: Mapped[int] = mapped_column(primary_key=True)
    load_id: Mapped[int] = mapped_column(ForeignKey("oven_load.id"))
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), index=True)
    position: Mapped[int]
