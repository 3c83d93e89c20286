"""Where the hay grew, and the lot it became: one field and one cutting of one season."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import CheckConstraint, ForeignKey, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from tracker.storage.base import Base, Digits, Utc
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
    season: Mapped[int]
    cutting: Mapped[int]
    part: Mapped[str] = mapped_column(Text)
    forage: Mapped[str] = mapped_column(Text)
    harvested: Mapped[date]
    bale_shape: Mapped[str] = mapped_column(Text)
    bale_count: Mapped[int]
    bale_mass_lb: Mapped[Decimal | None] = mapped_column(Digits)
    storage: Mapped[str] = mapped_column(Text)
    note: Mapped[str] = mapped_column(Text)
    registered_at: Mapped[datetime] = mapped_column(Utc)
    registered_by: Mapped[str] = mapped_column(Text)

    field: Mapped[Field] = relationship(lazy="raise")
