"""The lots of the programme, and the people and producers it knows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import Party
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.lots import Field, Lot, lot_numbered
from tracker.storage.people import PartyRow, Producer, as_party


@dataclass(frozen=True)
class LotLine:
    """One lot in a list; state and code are those of its newest sample. bale_mass in bale_mass_unit."""

    lot: int
    producer: str
    field: str
    cutting: int
    part: str
    forage: str
    harvested: date
    bale_shape: str
    bale_count: int
    bale_mass: Decimal | None
    bale_mass_unit: str
    storage: str
    code: str | None
    state: str


def lots(session: Session) -> tuple[LotLine, ...]:
    """Every lot by number, each once."""
    wanted = (
        select(Lot, Field.name, Producer.name, StandingRow)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .outerjoin(Sample, Sample.lot_id == Lot.id)
        .outerjoin(StandingRow, StandingRow.sample_id == Sample.id)
        .order_by(Lot.id, Sample.number)
    )
    newest: dict[int, LotLine] = {}
    for lot, field, producer, standing in session.execute(wanted):
        newest[lot.id] = _line(lot, field, producer, standing)
    return tuple(newest.values())


def _line(lot: Lot, field: str, producer: str, standing: StandingRow | None) -> LotLine:
    code = standing.code if standing else None
    return LotLine(
        lot=lot.id,
        producer=producer,
        field=field,
        cutting=lot.cutting,
        part=lot.part,
        forage=lot.forage,
        harvested=lot.harvested,
        bale_shape=lot.bale_shape,
        bale_count=lot.bale_count,
        bale_mass=lot.bale_mass,
        bale_mass_unit=lot.bale_mass_unit,
        storage=lot.storage,
        code=payload.shown(code) if code else None,
        state=standing.state if standing else "registered",
    )


def parties(session: Session) -> tuple[Party, ...]:
    """Everyone and everywhere that can hold a sample, by key."""
    return tuple(as_party(row) for row in session.scalars(select(PartyRow).order_by(PartyRow.key)))


@dataclass(frozen=True)
class ProducerLine:
    """One producer in a list."""

    name: str
    phone: str
    email: str
    place: str


def producers(session: Session) -> tuple[ProducerLine, ...]:
    """Every producer by name."""
    rows = session.scalars(select(Producer).order_by(Producer.name))
    return tuple(ProducerLine(row.name, row.phone, row.email, row.place) for row in rows)


def producer_of(session: Session, lot: int) -> str:
    """The name of the producer whose lot it is. Raises NotFound `unknown-lot`."""
    return lot_numbered(session, lot).field.producer.name
