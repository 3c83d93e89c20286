"""Those who can hold a sample, and those who own the hay."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, Text
from sqlalchemy.orm import Mapped, mapped_column

from tracker.storage.base import Base, Utc


class PartyRow(Base):
    """A person of the programme, a place that keeps samples, or a carrier."""

    __tablename__ = "party"
    __table_args__ = (CheckConstraint("kind in ('person', 'place', 'carrier')", name="kind"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(Text, unique=True)
    name: Mapped[str] = mapped_column(Text)
    kind: Mapped[str] = mapped_column(Text)
    role: Mapped[str] = mapped_column(Text)
    secure: Mapped[bool]
    added_at: Mapped[datetime] = mapped_column(Utc)


class Producer(Base):
    """The person who owns the hay."""

    __tablename__ = "producer"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text, unique=True)
    phone: Mapped[str] = mapped_column(Text)
    email: Mapped[str] = mapped_column(Text)
    place: Mapped[str] = mapped_column(Text)
    added_at: Mapped[datetime] = mapped_column(Utc)
