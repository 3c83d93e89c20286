"""What waits where, and for how long."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import ENDED
from tracker.domain.way import WAITING, waits_for
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
    wanted = (
        select(StandingRow, Lot, Field, Producer)
        .join(Sample, Sample.id == StandingRow.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where(StandingRow.state.not_in([*ENDED, "reported", "archived"]) | StandingRow.hold.is_not(None))
        .order_by(StandingRow.last_at)
    )
    found = [_waiting(*row, names) for row in session.execute(wanted)]
    return tuple(
        sorted((one for one in found if one is not None), key=lambda one: WAITING.index(one.waits_for))
    )


def _waiting(
    standing: StandingRow, lot: Lot, field: Field, producer: Producer, names: dict[str, str]
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
