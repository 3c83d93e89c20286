"""One oven load as its sheet shows it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.errors import NotFound
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.intake import OvenLoad, OvenPlace, weighings_in_force


@dataclass(frozen=True)
class Sack:
    """One sack in the load; weights in grams as the balance showed them, None while not weighed."""

    position: int
    code: str
    lot: int
    tare: Decimal | None
    fresh: Decimal | None
    dry: Decimal | None


@dataclass(frozen=True)
class Load:
    """The sacks that go in and come out together; set_celsius in degrees Celsius, times in UTC."""

    name: str
    oven: str
    set_celsius: Decimal
    in_at: datetime
    out_at: datetime | None
    sacks: tuple[Sack, ...]


def load_named(session: Session, name: str) -> Load:
    """The load with its sacks by position. Raises NotFound `unknown-load`."""
    row = session.scalar(select(OvenLoad).where(OvenLoad.name == name))
    if row is None:
        raise NotFound("unknown-load", f"There is no load {name}.", field="load", remedy="Check its name.")
    places = session.execute(
        select(OvenPlace.position, Sample.id, Sample.lot_id, StandingRow.code)
        .join(Sample, Sample.id == OvenPlace.sample_id)
        .join(StandingRow, StandingRow.sample_id == Sample.id)
        .where(OvenPlace.load_id == row.id)
        .order_by(OvenPlace.position)
    ).all()
    sacks = tuple(_sack(session, *place) for place in places)
    return Load(row.name, row.oven, row.set_celsius, row.in_at, row.out_at, sacks)


def _sack(session: Session, position: int, sample_id: int, lot: int, code: str | None) -> Sack:
    grams = {weighing.what: weighing.grams for weighing in weighings_in_force(session, sample_id)}
    shown = payload.shown(code) if code else ""
    return Sack(position, shown, lot, grams.get("tare"), grams.get("fresh"), grams.get("dry"))
