"""Register a lot: hay of one field and one cutting."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain import lot as lots
from tracker.domain.custody import Act
from tracker.domain.lot import POUNDS, LotFacts
from tracker.errors import Conflict
from tracker.steps.append_event import on_lot
from tracker.storage.kept import practice_in_force
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer, producer_named
from tracker.storage.search_words import keep_field_words


@dataclass(frozen=True)
class NewLot:
    """A lot as somebody gives it. part: A, B, ... where a lot that was too large is registered in pieces.

    bale_mass in bale_mass_unit ("[lb_av]" or "kg"); location: WGS 84 latitude, longitude in degrees.
    """

    producer: str
    field: str
    cutting: str | int
    forage: str
    harvested: str | date
    bale_shape: str
    bale_count: str | int
    bale_mass: str | Decimal | None = None
    bale_mass_unit: str = POUNDS
    storage: str = ""
    location: tuple[Decimal, Decimal] | None = None
    part: str = ""
    note: str = ""


def register_lot(session: Session, given: NewLot, act: Act) -> Lot:
    """Keep the lot, with its field if that is new.

    Raises what domain.lot.checked and size_check raise, NotFound `unknown-producer`, Conflict `lot-known`.
    """
    facts = facts_given(given, act)
    lots.size_check(facts, practice_in_force(session))
    producer = producer_named(session, given.producer)
    field = field_of(session, producer, facts.field_name, given.location)
    _refuse_known(session, field, facts, given.part)
    row = _row(field, facts, given, act)
    session.add(row)
    session.flush()
    on_lot(session, "lot registered", row.id, _said(row), act)
    return row


def facts_given(given: NewLot, act: Act) -> LotFacts:
    """The lot as the domain judges it. Raises what domain.lot.checked raises."""
    return lots.checked(
        field_name=given.field,
        cutting=given.cutting,
        forage_kind=given.forage,
        harvest_date=given.harvested,
        bale_shape=given.bale_shape,
        bale_count=given.bale_count,
        bale_mass=given.bale_mass,
        bale_mass_unit=given.bale_mass_unit,
        storage=given.storage,
        today=act.occurred_at.astimezone(act.at.tzinfo).date(),
    )


def field_of(
    session: Session, producer: Producer, name: str, location: tuple[Decimal, Decimal] | None
) -> Field:
    """The producer's field of this name, made if it is new; a place is kept where none was known."""
    field = session.scalar(select(Field).where(Field.producer_id == producer.id, Field.name == name))
    if field is None:
        field = Field(producer=producer, name=name)
        session.add(field)
        session.flush()
        keep_field_words(session, field, producer)
    if location is not None and field.latitude is None:
        field.latitude, field.longitude = location
    session.flush()
    return field


def _refuse_known(session: Session, field: Field, facts: LotFacts, part: str) -> None:
    known = session.scalar(
        select(Lot.id).where(
            Lot.field_id == field.id,
            Lot.season == facts.harvest_date.year,
            Lot.cutting == facts.cutting,
            Lot.part == part,
        )
    )
    if known is not None:
        raise Conflict(
            "lot-known",
            f"Cutting {facts.cutting} of {field.name} in {facts.harvest_date.year} is lot {known} already.",
            field="cutting",
            remedy="Another cutting is another lot. If this lot was registered in pieces, name the part.",
        )


def _row(field: Field, facts: LotFacts, given: NewLot, act: Act) -> Lot:
    return Lot(
        field=field,
        season=facts.harvest_date.year,
        cutting=facts.cutting,
        part=given.part,
        forage=facts.forage_kind,
        harvested=facts.harvest_date,
        bale_shape=facts.bale_shape,
        bale_count=facts.bale_count,
        bale_mass=facts.bale_mass,
        bale_mass_unit=facts.bale_mass_unit,
        storage=facts.storage,
        note=given.note,
        registered_at=act.now,
        registered_by=act.by.key,
    )


def _said(lot: Lot) -> dict[str, object]:
    """What the log keeps of a lot: nothing that names a person."""
    return {
        "lot": lot.id,
        "cutting": lot.cutting,
        "season": lot.season,
        "part": lot.part,
        "forage": lot.forage,
        "harvested": lot.harvested.isoformat(),
        "bale_shape": lot.bale_shape,
        "bale_count": lot.bale_count,
        "bale_mass": None if lot.bale_mass is None else str(lot.bale_mass),
        "bale_mass_unit": lot.bale_mass_unit,
        "storage": lot.storage,
    }
