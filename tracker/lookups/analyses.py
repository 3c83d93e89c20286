"""A sample's analyses, each as its source gave it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage import analysis as stored
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow


@dataclass(frozen=True)
class Given:
    """One value as the source gave it, in the source's unit and basis."""

    constituent: str
    value: Decimal
    unit: str
    basis: str
    method: str
    calibration: str
    qualifier: str


@dataclass(frozen=True)
class AnalysisLine:
    """One scan or laboratory run; the first of a list stands where several measured the same."""

    id: int
    source: str
    file: str
    line: int
    scanned_at: str | None
    values: tuple[Given, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class SampleAnalysis:
    """An analysis with the sample, the lot and the code of the bag it was made of."""

    sample: int
    lot: int
    code: str | None
    analysis: AnalysisLine


def analyses_of(session: Session, sample_id: int) -> tuple[AnalysisLine, ...]:
    """The sample's analyses, the one that stands first."""
    return tuple(_line(row) for row in stored.analyses_of(session, sample_id))


def analyses_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[SampleAnalysis]:
    """Every analysis by number, a page of them. Raises Refused `not-a-cursor`."""
    wanted = (
        select(stored.Analysis, Sample.id, Sample.lot_id, StandingRow.code)
        .join(Sample, Sample.id == stored.Analysis.sample_id)
        .join(StandingRow, StandingRow.sample_id == Sample.id)
        .options(*stored.WITH_ALL)
    )

    def line(row: stored.Analysis, sample: int, lot: int, code: str | None) -> SampleAnalysis:
        return SampleAnalysis(sample, lot, payload.shown(code) if code else None, _line(row))

    return page_of(session, wanted, [stored.Analysis.id], line, after, limit)


def _line(row: stored.Analysis) -> AnalysisLine:
    return AnalysisLine(
        id=row.id,
        source=row.file.map.source.name,
        file=row.file.name,
        line=row.line,
        scanned_at=row.scanned_at,
        values=tuple(_given(value) for value in row.values),
        remarks=tuple(finding["words"] for finding in row.findings),
    )


def _given(row: stored.ResultValue) -> Given:
    return Given(row.constituent, row.value, row.unit, row.basis, row.method, row.calibration, row.qualifier)
