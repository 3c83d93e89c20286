"""Print runs and the tags they made."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Text
from sqlalchemy.orm import Mapped, mapped_column

from tracker.storage.base import Base, Plain, Utc


class PrintRun(Base):
    """One printing of labels: on what, from which cell, by whom. layout holds stock, start, skip, offset."""

    __tablename__ = "print_run"

    id: Mapped[int] = mapped_column(primary_key=True)
    what: Mapped[str] = mapped_column(Text)
    count: Mapped[int]
    layout: Mapped[Any] = mapped_column(Plain)
    base_url: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    printed_by: Mapped[str] = mapped_column(Text)
    printed_at: Mapped[datetime] = mapped_column(Utc)


class Tag(Base):
    """One code for one bag. Only a hash of the stub's token is kept; state follows from the tag's events."""

    __tablename__ = "tag"
    __table_args__ = (CheckConstraint("state in ('printed', 'issued', 'bound', 'void')", name="state"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(Text, unique=True)
    token_hash: Mapped[str] = mapped_column(Text, unique=True)
    run_id: Mapped[int] = mapped_column(ForeignKey("print_run.id"), index=True)
    lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"), index=True)
    sample_id: Mapped[int | None] = mapped_column(ForeignKey("sample.id"), index=True)
    state: Mapped[str] = mapped_column(Text)
