"""Reports as they were issued."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Text, UniqueConstraint, bindparam, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.storage.base import Base, Plain, Utc


class ReportVersion(Base):
    """One issue of a lot's report with everything on it. A later version replaces it and leaves it as it was."""

    __tablename__ = "report_version"
    __table_args__ = (UniqueConstraint("sample_id", "version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    event_id: Mapped[str] = mapped_column(ForeignKey("event.event_id"), unique=True)
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"))
    number: Mapped[str] = mapped_column(Text, unique=True)
    version: Mapped[int]
    body: Mapped[Any] = mapped_column(Plain)
    reason: Mapped[str] = mapped_column(Text)
    issued_at: Mapped[datetime] = mapped_column(Utc)
    issued_by: Mapped[str] = mapped_column(ForeignKey("party.key"))


_OF_SAMPLE = select(ReportVersion).where(ReportVersion.sample_id == bindparam("sample"))
_LATEST = _OF_SAMPLE.order_by(ReportVersion.version.desc()).limit(1)


def latest_report(session: Session, sample_id: int) -> ReportVersion | None:
    """The latest version of the sample's report, None before the first."""
    return session.scalar(_LATEST, {"sample": sample_id})
