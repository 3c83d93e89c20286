"""What waits where, and for how long."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import ENDED
from tracker.domain.way import WAITING, waits_for
from tracker.lookups.page import USUAL, Key, Page, rows_of
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer, party_names


@dataclass(frozen=True)
class Waiting:
    """One sample and what it waits for; since: the last thing that happened to it, UTC."""

    waits_for: str
    code: str | None
    lot: int
    producer: str
    field: str
    cutting: int
    state: str
    holder: str | None
    since: datetime
    hold: str | None


def waiting(session: Session) -> tuple[Waiting, ...]:
    """Every sample that waits for somebody, in the order of the way and the longest wait first."""
    names = party_names(session)
    found = [_waiting(names, *row) for row in session.execute(_candidates().order_by(StandingRow.last_at))]
    return tuple(
        sorted((one for one in found if one is not None), key=lambda one: WAITING.index(one.waits_for))
    )


def waiting_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[Waiting]:
    """The same by the samples' numbers, a page of them. Raises Refused `not-a-cursor`."""
    names = party_names(session)
    rows, following = rows_of(session, _candidates(), [StandingRow.sample_id], after, limit)
    found = (_waiting(names, *row) for row in rows)
    return Page(tuple(one for one in found if one is not None), following)


def _candidates() -> Any:
    return (
        select(StandingRow, Lot, Field, Producer)
        .join(Sample, Sample.id == StandingRow.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where(StandingRow.state.not_in([*ENDED, "reported", "archived"]) | StandingRow.hold.is_not(None))
    )


def _waiting(
    names: dict[str, str], standing: StandingRow, lot: Lot, field: Field, producer: Producer
) -> Waiting | None:
    what = waits_for(standing.state, standing.hold)
    if what is None:
        return None
    holder = standing.transfer_to or standing.holder
    return Waiting(
        waits_for=what,
        code=payload.shown(standing.code) if standing.code else None,
        lot=lot.id,
        producer=producer.name,
        field=field.name,
        cutting=lot.cutting,
        state=standing.state,
        holder=names.get(holder) if holder else None,
        since=standing.last_at,
        hold=standing.hold,
    )
