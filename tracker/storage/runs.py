"""Instrument runs: the list that goes to the instrument, check samples, their limits and readings."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Text, UniqueConstraint, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.storage.base import Base, Digits, Plain, Utc


class RunList(Base):
    """One run as it was planned: rows hold position, kind and what is scanned. seed chose the blind duplicates."""

    __tablename__ = "run_list"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text, unique=True)
    source_id: Mapped[int] = mapped_column(ForeignKey("source.id"))
    check_name: Mapped[str] = mapped_column(Text)
    seed: Mapped[int]
    rows: Mapped[Any] = mapped_column(Plain)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class CheckLimit(Base):
    """The frozen limits of one constituent of one check sample; a new version needs a reason."""

    __tablename__ = "check_limit"
    __table_args__ = (UniqueConstraint("source_id", "check_name", "constituent", "version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    source_id: Mapped[int] = mapped_column(ForeignKey("source.id"))
    check_name: Mapped[str] = mapped_column(Text)
    constituent: Mapped[str] = mapped_column(Text)
    version: Mapped[int]
    mean: Mapped[Decimal] = mapped_column(Digits)
    sigma: Mapped[Decimal] = mapped_column(Digits)
    n: Mapped[int]
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class CheckReading(Base):
    """One value of a check sample from a file of results. level: what the rules said of it then."""

    __tablename__ = "check_reading"
    __table_args__ = (
        UniqueConstraint("file_id", "line", "constituent"),
        CheckConstraint("level in ('none', 'in control', 'warning', 'reject')", name="level"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    file_id: Mapped[int] = mapped_column(ForeignKey("result_file.id"))
    line: Mapped[int]
    source_id: Mapped[int] = mapped_column(ForeignKey("source.id"))
    check_name: Mapped[str] = mapped_column(Text, index=True)
    constituent: Mapped[str] = mapped_column(Text)
    value: Mapped[Decimal] = mapped_column(Digits)
    limit_id: Mapped[int | None] = mapped_column(ForeignKey("check_limit.id"))
    rules: Mapped[Any] = mapped_column(Plain)
    level: Mapped[str] = mapped_column(Text)
    scanned_at: Mapped[str | None] = mapped_column(Text)


def limit_in_force(session: Session, source_id: int, check_name: str, constituent: str) -> CheckLimit | None:
    """The latest frozen limits, None where none were frozen yet."""
    mine = (
        CheckLimit.source_id == source_id,
        CheckLimit.check_name == check_name,
        CheckLimit.constituent == constituent,
    )
    return session.scalar(select(CheckLimit).where(*mine).order_by(CheckLimit.version.desc()).limit(1))


def check_names(session: Session, source_id: int) -> tuple[str, ...]:
    """The check samples that ever rode in a run of this source."""
    names = select(RunList.check_name).where(RunList.source_id == source_id).distinct()
    return tuple(session.scalars(names.order_by(RunList.check_name)))
