"""The producers: their lots with the stubs' states, their links, and whether they get messages."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.tag import BOUND
from tracker.errors import NotFound
from tracker.lookups.messages import MessageLine, gets_messages, messages
from tracker.lookups.page import Key, Page, page_of
from tracker.lookups.readers import SharedLink, StubState, shared_links, stub_state
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer
from tracker.storage.tags import Tag

# So many producers on a page; a search finds each of them by his name.
SHOWN = 200


@dataclass(frozen=True)
class ProducerLine:
    """One producer in the list. messages: the address that messages go to, None for none."""

    number: int
    name: str
    place: str
    phone: str
    lots: int
    messages: str | None


@dataclass(frozen=True)
class ProducerLot:
    """One of a producer's lots with the stubs of its bags."""

    lot: int
    field: str
    cutting: int
    harvested: date
    stubs: tuple[StubState, ...]


@dataclass(frozen=True)
class ProducerCard:
    """All that the office decides for one producer about who sees what."""

    number: int
    name: str
    place: str
    phone: str
    email: str
    lots: tuple[ProducerLot, ...]
    links: tuple[SharedLink, ...]
    messages: str | None
    sent: tuple[MessageLine, ...]


def producer_lines(session: Session, after: Key = (), limit: int = SHOWN) -> Page[ProducerLine]:
    """The producers by name, a page of them. Raises Refused `not-a-cursor`."""
    lots = (
        select(func.count(Lot.id))
        .join(Field, Field.id == Lot.field_id)
        .where(Field.producer_id == Producer.id)
    )
    wanted = select(Producer, lots.correlate(Producer).scalar_subquery())

    def line(row: Producer, lots: int) -> ProducerLine:
        return ProducerLine(
            number=row.id,
            name=row.name,
            place=row.place,
            phone=row.phone,
            lots=lots,
            messages=gets_messages(session, row.id),
        )

    return page_of(session, wanted, [Producer.name], line, after, limit)


def producer_card(session: Session, number: int, today: date) -> ProducerCard:
    """One producer. Raises NotFound `unknown-producer`."""
    row = session.get(Producer, number)
    if row is None:
        raise NotFound(
            "unknown-producer",
            f"There is no producer {number}.",
            field="producer",
            remedy="`tracker producers` lists them.",
        )
    return ProducerCard(
        number=row.id,
        name=row.name,
        place=row.place,
        phone=row.phone,
        email=row.email,
        lots=_lots(session, number),
        links=shared_links(session, number, today),
        messages=gets_messages(session, number),
        sent=messages(session, number),
    )


def _lots(session: Session, producer: int) -> tuple[ProducerLot, ...]:
    wanted = select(Lot, Field.name).join(Field).where(Field.producer_id == producer).order_by(Lot.id.desc())
    found = []
    for lot, field in session.execute(wanted).all():
        codes = session.scalars(
            select(Tag.code).where(Tag.lot_id == lot.id, Tag.state == BOUND).order_by(Tag.id)
        )
        stubs = tuple(stub_state(session, payload.shown(code)) for code in codes)
        found.append(ProducerLot(lot.id, field, lot.cutting, lot.harvested, stubs))
    return tuple(found)
