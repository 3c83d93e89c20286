"""Where the hay grew, and the lot it became: one field and one cutting of one season."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, ScalarSelect, Text, UniqueConstraint, select
from sqlalchemy.orm import Mapped, Session, joinedload, mapped_column, relationship

from tracker.domain.lot import LotFacts
from tracker.errors import NotFound
from tracker.storage.base import Base, Digits, Plain, Utc
from tracker.storage.people import Producer


class Field(Base):
    """A producer's field; latitude and longitude in WGS 84 decimal degrees, if he gave them."""

    __tablename__ = "field"
    __table_args__ = (UniqueConstraint("producer_id", "name"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    producer_id: Mapped[int] = mapped_column(ForeignKey("producer.id"))
    name: Mapped[str] = mapped_column(Text)
    latitude: Mapped[Decimal | None] = mapped_column(Digits)
    longitude: Mapped[Decimal | None] = mapped_column(Digits)

    producer: Mapped[Producer] = relationship(lazy="raise")


class FieldBoundary(Base):
    """The boundary of a field as it was brought in; the newest holds, and one without polygons was erased."""

    __tablename__ = "field_boundary"

    id: Mapped[int] = mapped_column(primary_key=True)
    field_id: Mapped[int] = mapped_column(ForeignKey("field.id"), index=True)
    polygons: Mapped[list[Any]] = mapped_column(Plain)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class Lot(Base):
    """Hay of one field and one cutting. part tells the pieces of a lot that was too large apart, else empty."""

    __tablename__ = "lot"
    __table_args__ = (
        UniqueConstraint("field_id", "season", "cutting", "part"),
        CheckConstraint("bale_count > 0", name="bales"),
        CheckConstraint("cutting > 0", name="cutting"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    field_id: Mapped[int] = mapped_column(ForeignKey("field.id"))
    season: Mapped[int] = mapped_column(index=True)
    cutting: Mapped[int]
    part: Mapped[str] = mapped_column(Text)
    forage: Mapped[str] = mapped_column(Text)
    harvested: Mapped[date]
    bale_shape: Mapped[str] = mapped_column(Text)
    bale_count: Mapped[int]
    bale_mass: Mapped[Decimal | None] = mapped_column(Digits)
    bale_mass_unit: Mapped[str] = mapped_column(Text)
    storage: Mapped[str] = mapped_column(Text)
    note: Mapped[str] = mapped_column(Text)
    registered_at: Mapped[datetime] = mapped_column(Utc)
    registered_by: Mapped[str] = mapped_column(Text)

    field: Mapped[Field] = relationship(lazy="raise")


def boundary_in_force() -> ScalarSelect[list[Any]]:
    """Of the field of an enclosing question: its newest polygons as plain values, null where there are none."""
    newest = select(FieldBoundary.polygons).where(FieldBoundary.field_id == Field.id)
    return newest.order_by(FieldBoundary.id.desc()).limit(1).correlate(Field).scalar_subquery()


def lot_numbered(session: Session, number: int) -> Lot:
    """The lot with its field and producer. Raises NotFound `unknown-lot`."""
    wanted = select(Lot).where(Lot.id == number).options(joinedload(Lot.field).joinedload(Field.producer))
    # A lot that the session knows already, bare, is filled in.
    row = session.scalar(wanted.execution_options(populate_existing=True))
    if row is None:
        raise NotFound(
            "unknown-lot", f"There is no lot {number}.", field="lot", remedy="`tracker lots` lists them."
        )
    return row


def facts_of(lot: Lot) -> LotFacts:
    """The lot as the domain judges it; its field must be loaded."""
    return LotFacts(
        field_name=lot.field.name,
        cutting=lot.cutting,
        forage_kind=lot.forage,
        harvest_date=lot.harvested,
        bale_shape=lot.bale_shape,
        bale_count=lot.bale_count,
        bale_mass=lot.bale_mass,
        bale_mass_unit=lot.bale_mass_unit,
        storage=lot.storage,
    )
