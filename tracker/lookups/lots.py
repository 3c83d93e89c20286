"""The lots of the programme, and the people and producers it knows."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from labels import payload
from tracker.domain.custody import Party
from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.lots import Field, Lot, lot_numbered
from tracker.storage.people import PartyRow, Producer, as_party

BEFORE_BAG = ("planned", "cored")
# What has had its report.
ANSWERED = ("reported", "archived", "disposed")


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
    return tuple(_line(*row) for row in session.execute(_lots().order_by(Lot.id)))


def lots_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[LotLine]:
    """The lots by number, a page of them. Raises Refused `not-a-cursor`."""
    return page_of(session, _lots(), [Lot.id], _line, after, limit)


def lots_without_bag(session: Session) -> tuple[LotLine, ...]:
    """The lots whose newest sample has no bag and tag yet, by number."""
    begun = select(Sample.lot_id).join(StandingRow, StandingRow.sample_id == Sample.id)
    begun = begun.where(StandingRow.state.in_(BEFORE_BAG)).correlate(None)
    sampled = select(Sample.id).where(Sample.lot_id == Lot.id).correlate(Lot).exists()
    # The first of these is for the database, which need not look at a lot that is far on its way.
    wanted = _lots().where(Lot.id.in_(begun) | ~sampled, ~sampled | StandingRow.state.in_(BEFORE_BAG))
    return tuple(_line(*row) for row in session.execute(wanted.order_by(Lot.id)))


def answered_page(session: Session, not_of: str, after: Key = (), limit: int = USUAL) -> Page[LotLine]:
    """The lots whose newest sample has its report, of others than this producer, by that sample; a page of them.

    Raises Refused `not-a-cursor`.
    """
    # States are compared as what no index holds: by the samples' own numbers a page is read, and no more.
    later = aliased(Sample)
    newer = select(later.id).where(later.lot_id == Sample.lot_id, later.number > Sample.number)
    wanted = (
        select(Lot, Field.name, Producer.name, StandingRow)
        .select_from(StandingRow)
        .join(Sample, Sample.id == StandingRow.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where((StandingRow.state + "").in_(ANSWERED), ~newer.exists(), Producer.name != not_of)
    )
    return page_of(session, wanted, [StandingRow.sample_id], _line, after, limit)


def lot_lines(session: Session, numbers: Collection[int]) -> tuple[LotLine, ...]:
    """Those of these lots that there are, by number."""
    wanted = _lots().where(Lot.id.in_(numbers)).order_by(Lot.id)
    return tuple(_line(*row) for row in session.execute(wanted))


def lot_line(session: Session, number: int) -> LotLine:
    """One lot. Raises NotFound `unknown-lot`."""
    lot_numbered(session, number)
    return _line(*session.execute(_lots().where(Lot.id == number)).one())


def _lots() -> Any:
    """Each lot with its newest sample."""
    newest = select(func.max(Sample.number)).where(Sample.lot_id == Lot.id).correlate(Lot).scalar_subquery()
    return (
        select(Lot, Field.name, Producer.name, StandingRow)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .outerjoin(Sample, (Sample.lot_id == Lot.id) & (Sample.number == newest))
        .outerjoin(StandingRow, StandingRow.sample_id == Sample.id)
    )


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
    """One producer in a list; number: what the office's pages and links call him by."""

    number: int
    name: str
    phone: str
    email: str
    place: str


def producers(session: Session) -> tuple[ProducerLine, ...]:
    """Every producer by name."""
    return tuple(_producer(row) for row in session.scalars(select(Producer).order_by(Producer.name)))


def producers_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[ProducerLine]:
    """The producers by name, a page of them. Raises Refused `not-a-cursor`."""
    return page_of(session, select(Producer), [Producer.name], _producer, after, limit)


def producer_line(session: Session, number: int) -> ProducerLine:
    """One producer that is known by his number to be there."""
    return _producer(session.get_one(Producer, number))


def _producer(row: Producer) -> ProducerLine:
    return ProducerLine(row.id, row.name, row.phone, row.email, row.place)


def producer_of(session: Session, lot: int) -> str:
    """The name of the producer whose lot it is. Raises NotFound `unknown-lot`."""
    return lot_numbered(session, lot).field.producer.name
