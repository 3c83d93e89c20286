"""Lots of other seasons and offices that were taken in as bundles."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.files.lot_bundle import Bundle
from tracker.storage.bundles import KeptBundle, bundle_numbered, papers_of


@dataclass(frozen=True)
class KeptLot:
    """One kept bundle in a list: whose lot it was there, and which reports it has."""

    number: int
    programme: str
    producer: str
    lot: int
    field: str
    cutting: int
    season: int
    reports: tuple[str, ...]
    by: str
    at: datetime


def kept_lots(session: Session) -> tuple[KeptLot, ...]:
    """Every kept bundle, oldest first."""
    return tuple(_line(row) for row in session.scalars(select(KeptBundle).order_by(KeptBundle.id)))


def kept_bundle(session: Session, number: int) -> Bundle:
    """The bundle as it was taken in. Raises NotFound `unknown-bundle`."""
    row = bundle_numbered(session, number)
    return Bundle(row.lot, papers_of(session, row.id))


def _line(row: KeptBundle) -> KeptLot:
    lot = row.lot["lot"]
    return KeptLot(
        number=row.id,
        programme=row.lot["programme"]["name"],
        producer=row.lot["producer"]["name"],
        lot=lot["number"],
        field=lot["field"],
        cutting=lot["cutting"],
        season=lot["season"],
        reports=tuple(one["number"] for one in row.lot["reports"]),
        by=row.by,
        at=row.at,
    )
