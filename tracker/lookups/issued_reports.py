"""Reports as they were issued."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.errors import NotFound
from tracker.lookups.report_record import Proof, proof_of
from tracker.storage.results import ReportVersion, latest_report


@dataclass(frozen=True)
class Issued:
    """One version of a report; body as docs/report.md describes it. proof: its record, where it was asked for."""

    number: str
    version: int
    issued_at: datetime
    body: dict[str, Any]
    proof: Proof | None = None


def issued_report(session: Session, sample_id: int, version: int | None = None) -> Issued:
    """The sample's latest report, or the version asked for. Raises NotFound `no-report`."""
    if version is None:
        row = latest_report(session, sample_id)
    else:
        wanted = select(ReportVersion).where(ReportVersion.sample_id == sample_id)
        row = session.scalar(wanted.where(ReportVersion.version == version))
    return _proven(session, row, "sample", "No such report was issued for this sample.")


def report_numbered(session: Session, number: str) -> Issued:
    """The report with this number, as it was issued. Raises NotFound `no-report`."""
    row = session.scalar(select(ReportVersion).where(ReportVersion.number == number))
    return _proven(session, row, "number", f"No report {number[:40]!r} was issued.")


def latest_version(session: Session, sample_id: int) -> Issued | None:
    """The sample's latest report, None before the first."""
    row = latest_report(session, sample_id)
    return None if row is None else _issued(row, "sample", "")


def _proven(session: Session, row: ReportVersion | None, field: str, missing: str) -> Issued:
    issued = _issued(row, field, missing)
    return issued if row is None else replace(issued, proof=proof_of(session, row))


def _issued(row: ReportVersion | None, field: str, missing: str) -> Issued:
    if row is None:
        raise NotFound("no-report", missing, field=field, remedy="Issue one: `tracker release`.")
    return Issued(row.number, row.version, row.issued_at, row.body)
