"""What went through the mill."""

from __future__ import annotations

from decimal import Decimal

from sqlalchemy import CheckConstraint, ForeignKey, Text
from sqlalchemy.orm import Mapped, mapped_column

from tracker.storage.base import Base, Digits


class Grind(Base):
    """One pass through one screen, millimetres; cleaned says whether the mill was cleaned before it."""

    __tablename__ = "grind"
    __table_args__ = (CheckConstraint("stage in ('coarse', 'fine')", name="stage"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    event_id: Mapped[str] = mapped_column(ForeignKey("event.event_id"), unique=True)
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), index=True)
    stage: Mapped[str] = mapped_column(Text)
    screen_mm: Mapped[Decimal] = mapped_column(Digits)
    mill: Mapped[str] = mapped_column(Text)
    cleaned: Mapped[bool]
