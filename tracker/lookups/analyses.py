"""A sample's analyses, each as its source gave it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from tracker.storage import analysis as stored


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


def analyses_of(session: Session, sample_id: int) -> tuple[AnalysisLine, ...]:
    """The sample's analyses, the one that stands first."""
    return tuple(
        AnalysisLine(
            id=row.id,
            source=row.file.map.source.name,
            file=row.file.name,
            line=row.line,
            scanned_at=row.scanned_at,
            values=tuple(_given(value) for value in row.values),
            remarks=tuple(finding["words"] for finding in row.findings),
        )
        for row in stored.analyses_of(session, sample_id)
    )


def _given(row: stored.ResultValue) -> Given:
    return Given(row.constituent, row.value, row.unit, row.basis, row.method, row.calibration, row.qualifier)
