"""Who owns the hay, where it grew, and the lots it became."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.boundary import Boundary, area_ha
from tracker.lookups.exports.table import Cells, Column, Table, read
from tracker.storage.lots import Field, Lot, boundary_in_force
from tracker.storage.people import Producer


def _producers(session: Session, season: int | None) -> Iterator[Cells]:
    wanted = select(Producer.id, Producer.name, Producer.place, Producer.phone, Producer.email)
    if season is not None:
        theirs = select(Field.producer_id).join(Lot, Lot.field_id == Field.id).where(Lot.season == season)
        wanted = wanted.where(Producer.id.in_(theirs))
    yield from (tuple(row) for row in read(session, wanted.order_by(Producer.id)))


def _fields(session: Session, season: int | None) -> Iterator[Cells]:
    wanted = select(
        Field.id, Field.producer_id, Field.name, Field.latitude, Field.longitude, boundary_in_force()
    )
    if season is not None:
        wanted = wanted.where(Field.id.in_(select(Lot.field_id).where(Lot.season == season)))
    for *cells, polygons in read(session, wanted.order_by(Field.id)):
        yield (*cells, area_ha(Boundary.from_data(polygons)) if polygons else None)


def _lots(session: Session, season: int | None) -> Iterator[Cells]:
    wanted = select(
        Lot.id,
        Lot.field_id,
        Lot.season,
        Lot.cutting,
        Lot.part,
        Lot.forage,
        Lot.harvested,
        Lot.bale_shape,
        Lot.bale_count,
        Lot.bale_mass,
        Lot.bale_mass_unit,
        Lot.storage,
        Lot.note,
        Lot.registered_at,
        Lot.registered_by,
    )
    if season is not None:
        wanted = wanted.where(Lot.season == season)
    yield from (tuple(row) for row in read(session, wanted.order_by(Lot.id)))


PRODUCERS = Table(
    "producers",
    "Those who own the hay, with how to reach them.",
    (
        Column("producer", "number of the producer", "integer"),
        Column("name", "as he is registered"),
        Column("place", "where he is"),
        Column("phone", "telephone"),
        Column("email", "address for messages"),
    ),
    _producers,
)
FIELDS = Table(
    "fields",
    "Where the hay grew.",
    (
        Column("field", "number of the field", "integer"),
        Column("producer", "number of its producer", "integer"),
        Column("name", "as its producer calls it"),
        Column("latitude", "WGS 84, decimal degrees north", "number", "deg"),
        Column("longitude", "WGS 84, decimal degrees east", "number", "deg"),
        Column("area_ha", "within the boundary; empty where none was brought in", "number", "har"),
    ),
    _fields,
)
LOTS = Table(
    "lots",
    "Hay of one field and one cutting.",
    (
        Column("lot", "number of the lot", "integer"),
        Column("field", "number of its field", "integer"),
        Column("season", "year of harvest", "integer"),
        Column("cutting", "1 for the first of the season", "integer"),
        Column("part", "A, B, ... of a lot that was too large"),
        Column("forage", "what grew"),
        Column("harvested", "day of cutting", "date"),
        Column("bale_shape", "round, large square or small square"),
        Column("bale_count", "bales in the lot", "integer"),
        Column("bale_mass", "mean mass of a bale as received, in the unit beside it", "number"),
        Column("bale_mass_unit", "UCUM: [lb_av] or kg"),
        Column("storage", "how it is kept"),
        Column("note", "what was noted"),
        Column("registered_at", "UTC", "moment"),
        Column("registered_by", "short name of who registered it"),
    ),
    _lots,
)
