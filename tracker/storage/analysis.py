"""Files of results as they came, the rows that could not go in, and the analyses that did."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    ForeignKey,
    LargeBinary,
    Text,
    UniqueConstraint,
    bindparam,
    func,
    insert,
    select,
)
from sqlalchemy.orm import Mapped, Session, aliased, joinedload, mapped_column, relationship, selectinload

from tracker.domain.analysis import Value
from tracker.storage.base import Base, Digits, Plain, Utc
from tracker.storage.coring import SEVERAL, Sample
from tracker.storage.custody import EventRow, Undone


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

    source: Mapped[Source] = relationship(lazy="raise")


class ResultFile(Base):
    """A file of results, byte for byte, found again by its SHA-256. sheet: the one asked for, else empty."""

    __tablename__ = "result_file"
    __table_args__ = (UniqueConstraint("sha256", "map_id", "sheet"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    map_id: Mapped[int] = mapped_column(ForeignKey("source_map.id"))
    name: Mapped[str] = mapped_column(Text)
    sheet: Mapped[str] = mapped_column(Text)
    sha256: Mapped[str] = mapped_column(Text)
    # A file may be large and is named with each of its analyses; SQLite walks through it to what stands behind.
    content: Mapped[bytes] = mapped_column(LargeBinary, deferred=True, deferred_group="content")
    by: Mapped[str] = mapped_column(ForeignKey("party.key"), deferred=True, deferred_group="content")
    at: Mapped[datetime] = mapped_column(Utc, deferred=True, deferred_group="content")

    map: Mapped[SourceMap] = relationship(lazy="raise")


class Upload(Base):
    """A file that was looked at and may be taken in, byte for byte; it is let go of after a day."""

    __tablename__ = "upload"

    sha256: Mapped[str] = mapped_column(Text, primary_key=True)
    content: Mapped[bytes] = mapped_column(LargeBinary)
    at: Mapped[datetime] = mapped_column(Utc)


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


class RepeatedSample(Base):
    """A sample that has more than one analysis; few have, and every report asks which (lookups.sds_in_force)."""

    __tablename__ = "repeated_sample"

    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), primary_key=True, autoincrement=False)


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


# An analysis with its values, its file and its source.
WITH_ALL = (
    selectinload(Analysis.values),
    joinedload(Analysis.file).joinedload(ResultFile.map).joinedload(SourceMap.source),
)


# What stands for each constituent, with the analysis that found it.
Standing = Mapping[str, tuple[Analysis, ResultValue]]


def map_in_force(session: Session, source_id: int) -> SourceMap | None:
    """The source's latest column map, None before the first."""
    wanted = select(SourceMap).where(SourceMap.source_id == source_id)
    return session.scalar(wanted.order_by(SourceMap.version.desc()).limit(1))


def analyses_of(session: Session, sample_id: int) -> list[Analysis]:
    """The sample's analyses with their values, files and sources: the one chosen last first, then the newest."""
    return _ordered(session, sample_id, _ranks(session, sample_id))


_ANALYSES = select(Analysis).where(Analysis.sample_id == bindparam("sample")).options(*WITH_ALL)
_CHOICES = (
    select(EventRow.data)
    .where(EventRow.sample_id == bindparam("sample"), EventRow.kind == "analysis chosen")
    .order_by(EventRow.seq)
)


def _ordered(session: Session, sample_id: int, ranks: Mapping[str, int]) -> list[Analysis]:
    rows = session.scalars(_ANALYSES, {"sample": sample_id}).all()
    return sorted(rows, key=lambda row: (-ranks.get(row.event_id, 0), -row.id))


def _ranks(session: Session, sample_id: int) -> dict[str, int]:
    """The chosen analyses by their event, the one chosen last with the highest number."""
    choices = session.scalars(_CHOICES, {"sample": sample_id}).all()
    # A later choice of the same analysis counts anew, so the last place in the list decides.
    return {choice["analysis"]: place for place, choice in enumerate(choices, start=1)}


def values_in_force(session: Session, sample_id: int) -> dict[str, tuple[Analysis, ResultValue]]:
    """What stands for each constituent: of the analyses that measured it, the first as analyses_of orders them.

    Of the dry matter of the portion the first by an instrument of ours stands, unless somebody chose: it was
    measured soonest after the oven, and a portion that travelled has taken up water since.
    """
    chosen = _ranks(session, sample_id)
    ordered = _ordered(session, sample_id, chosen)
    oldest = sorted(
        ordered,
        key=lambda row: (row.event_id not in chosen, row.file.map.source.kind != "instrument", row.id),
    )
    found: dict[str, tuple[Analysis, ResultValue]] = {}
    for analysis in oldest:
        for value in analysis.values:
            if value.constituent == "DM":
                found.setdefault("DM", (analysis, value))
    for analysis in ordered:
        for value in analysis.values:
            found.setdefault(value.constituent, (analysis, value))
    return found


def as_value(row: ResultValue) -> Value:
    """The row as the domain judges it."""
    return Value(row.constituent, row.value, row.unit, row.basis, row.method, row.calibration)


def keep_repeats(session: Session, file_id: int) -> None:
    """Note the samples that this file has brought another analysis of."""
    session.flush()
    other = aliased(Analysis)
    before = select(other.id).where(other.sample_id == Analysis.sample_id, other.id < Analysis.id)
    known = select(RepeatedSample.sample_id).where(RepeatedSample.sample_id == Analysis.sample_id)
    again = select(Analysis.sample_id).where(Analysis.file_id == file_id, before.exists(), ~known.exists())
    session.execute(insert(RepeatedSample).from_select(["sample_id"], again.distinct()))


def repeated_analyses(session: Session) -> Sequence[Analysis]:
    """Every analysis of a sample that one source has analysed several times, or of a lot with several samples
    analysed; oldest first.

    An analysis that was taken back is left out.
    """
    stands = Analysis.event_id.not_in(select(Undone.event_id))
    # Asked among the few that may be it, so that the many others of a large season cost nothing.
    several_times = Analysis.sample_id.in_(select(RepeatedSample.sample_id))
    several_samples = Sample.lot_id.in_(select(Sample.lot_id).where(SEVERAL))
    by_source = select(Analysis.sample_id).join(ResultFile).join(SourceMap).where(stands, several_times)
    same_source = by_source.group_by(Analysis.sample_id, SourceMap.source_id).having(func.count() > 1)
    by_lot = (
        select(Sample.lot_id).join(Analysis, Analysis.sample_id == Sample.id).where(stands, several_samples)
    )
    several = by_lot.group_by(Sample.lot_id).having(func.count(Analysis.sample_id.distinct()) > 1)
    of_several = select(Sample.id).where(Sample.lot_id.in_(several))
    wanted = (
        select(Analysis)
        .where(
            stands,
            Analysis.sample_id.in_(same_source.with_only_columns(Analysis.sample_id).union(of_several)),
        )
        .options(*WITH_ALL)
        .order_by(Analysis.id)
    )
    return session.scalars(wanted).all()
