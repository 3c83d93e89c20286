"""Fields as features of a map, for those whose boundary or place is known."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.boundary import Boundary
from tracker.lookups.exports.table import read
from tracker.storage.lots import Field, Lot, boundary_in_force
from tracker.storage.people import Producer


@dataclass(frozen=True)
class FieldPlace:
    """One field with its place, WGS 84 in decimal degrees, its boundary or both.

    lots: how many grew there in the season asked for.
    """

    field: int
    name: str
    producer: str
    latitude: Decimal | None
    longitude: Decimal | None
    boundary: Boundary | None
    lots: int


def field_places(session: Session, season: int | None = None) -> Iterator[FieldPlace]:
    """Every field whose place is known; of one season, those that gave hay in it."""
    grown = [Lot.field_id == Field.id, *([Lot.season == season] if season is not None else [])]
    count = select(func.count()).select_from(Lot).where(*grown).scalar_subquery()
    wanted = (
        select(
            Field.id,
            Field.name,
            Producer.name.label("producer"),
            Field.latitude,
            Field.longitude,
            boundary_in_force().label("polygons"),
            count.label("lots"),
        )
        .join(Producer, Producer.id == Field.producer_id)
        .order_by(Field.id)
    )
    for row in read(session, wanted):
        boundary = Boundary.from_data(row.polygons) if row.polygons else None
        if (boundary or row.latitude is not None) and (season is None or row.lots):
            yield FieldPlace(row.id, row.name, row.producer, row.latitude, row.longitude, boundary, row.lots)
