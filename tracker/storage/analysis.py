"""Files of results as they came, the rows that could not go in, and the analyses that did."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from tracker.storage.base import Base, Digits, Plain, Utc


class Source(Base):
    """Where results come from: an instrument of ours, or an outside laboratory."""

    __tablename__ = "source"
    __table_args__ = (CheckConstraint("kind in ('instrument', 'laboratory')", name="kind"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text, unique=True)
    kind: Mapped[str] = mapped_column(Text)
    added_at: Mapped[datetime] = mapped_column(Utc)


class SourceMap(Base):
    """One version of a source's column map; the latest reads new files, the others explain old ones."""

    __tablename__ = "source_map"
    __table_args__ = (UniqueConstraint("source_id", "version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    source_id: Mapped[int] = mapped_column(ForeignKey("source.id"))
    version: Mapped[int]
    body: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class ResultFile(Base):
    """A file of results, byte for byte, found again by its SHA-256."""

    __tablename__ = "result_file"
    __table_args__ = (UniqueConstraint("sha256", "map_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    map_id: Mapped[int] = mapped_column(ForeignKey("source_map.id"))
    name: Mapped[str] = mapped_column(Text)
    sha256: Mapped[str] = mapped_column(Text)
    content: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)

    map: Mapped[SourceMap] = relationship(lazy="raise")


class Analysis(Base):
    """One scan or one laboratory run on one sample."""

    __tablename__ = "analysis"

    id: Mapped[int] = mapped_column(primary_key=True)
    event_id: Mapped[str] = mapped_column(ForeignKey("event.event_id"), unique=True)
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), index=True)
    file_id: Mapped[int] = mapped_column(ForeignKey("result_file.id"), index=True)
    line: Mapped[int]
    scanned_at: Mapped[str | None] = mapped_column(Text)
    findings: Mapped[Any] = mapped_column(Plain)

    file: Mapped[ResultFile] = relationship(lazy="raise")
    values: Mapped[list[ResultValue]] = relationship(lazy="raise", order_by="ResultValue.id")


class ResultValue(Base):
    """One value as the source gave it, in the source's unit and basis."""

    __tablename__ = "result_value"
    __table_args__ = (UniqueConstraint("analysis_id", "constituent"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    analysis_id: Mapped[int] = mapped_column(ForeignKey("analysis.id"))
    constituent: Mapped[str] = mapped_column(Text)
    value: Mapped[Decimal] = mapped_column(Digits)
    unit: Mapped[str] = mapped_column(Text)
    basis: Mapped[str] = mapped_column(Text)
    method: Mapped[str] = mapped_column(Text)
    calibration: Mapped[str] = mapped_column(Text)
    qualifier: Mapped[str] = mapped_column(Text)


class ParkedRow(Base):
    """A row that could not go in: its cells as written, what is wrong, and a suggested repair."""

    __tablename__ = "parked_row"
    __table_args__ = (UniqueConstraint("file_id", "line"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    file_id: Mapped[int] = mapped_column(ForeignKey("result_file.id"))
    line: Mapped[int]
    sample_text: Mapped[str] = mapped_column(Text)
    cells: Mapped[Any] = mapped_column(Plain)
    problems: Mapped[Any] = mapped_column(Plain)
    suggestions: Mapped[Any] = mapped_column(Plain)

    file: Mapped[ResultFile] = relationship(lazy="raise")


class ParkedAnswer(Base):
    """What a person decided about a parked row: taken in for a sample, or set aside, with the reason."""

    __tablename__ = "parked_answer"

    id: Mapped[int] = mapped_column(primary_key=True)
    parked_id: Mapped[int] = mapped_column(ForeignKey("parked_row.id"), unique=True)
    analysis_id: Mapped[int | None] = mapped_column(ForeignKey("analysis.id"))
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)
