"""The samples by number: the hay each is of, and where it stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.way import waits_for
from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer


@dataclass(frozen=True)
class SampleLine:
    """One sample in a list. number: 1 for the first of its lot; holder and in_transfer_to: by key; last_at: UTC."""

    sample: int
    lot: int
    number: int
    producer: str
    field: str
    season: int
    cutting: int
    code: str | None
    state: str
    holder: str | None
    in_transfer_to: str | None
    waits_for: str | None
    hold: str | None
    last_at: datetime


def samples_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[SampleLine]:
    """The samples by number, a page of them. Raises Refused `not-a-cursor`."""
    wanted = (
        select(Sample, Lot, Field.name, Producer.name, StandingRow)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .join(StandingRow, StandingRow.sample_id == Sample.id)
    )
    return page_of(session, wanted, [Sample.id], _line, after, limit)


def _line(sample: Sample, lot: Lot, field: str, producer: str, standing: StandingRow) -> SampleLine:
    return SampleLine(
        sample=sample.id,
        lot=lot.id,
        number=sample.number,
        producer=producer,
        field=field,
        season=lot.season,
        cutting=lot.cutting,
        code=payload.shown(standing.code) if standing.code else None,
        state=standing.state,
        holder=standing.holder,
        in_transfer_to=standing.transfer_to,
        waits_for=waits_for(standing.state, standing.hold),
        hold=standing.hold,
        last_at=standing.last_at,
    )
