"""One oven load as its sheet shows it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.times import at_offset
from tracker.errors import NotFound
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.intake import OvenLoad, OvenPlace, weighings_in_force_of
from tracker.storage.kept import practice_in_force


@dataclass(frozen=True)
class Sack:
    """One sack in the load; weights in grams as the balance showed them, None while not weighed."""

    position: int
    code: str
    lot: int
    tare: Decimal | None = None
    fresh: Decimal | None = None
    dry: Decimal | None = None


@dataclass(frozen=True)
class Load:
    """The sacks that go in and come out together; set_celsius in degrees Celsius.

    due_at: before it the load has not had the hours that the programme's practice asks for. Times at the offset
    of the device that recorded them.
    """

    name: str
    oven: str
    set_celsius: Decimal
    in_at: datetime
    out_at: datetime | None = None
    due_at: datetime | None = None
    sacks: tuple[Sack, ...] = ()


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
    weights: dict[int, dict[str, Decimal]] = {}
    for weighing in weighings_in_force_of(session, [place.id for place in places]):
        weights.setdefault(weighing.sample_id, {})[weighing.what] = weighing.grams
    sacks = tuple(
        _sack(place.position, place.lot_id, place.code, weights.get(place.id, {})) for place in places
    )
    return replace(load_of(session, row), sacks=sacks)


def load_of(session: Session, row: OvenLoad) -> Load:
    """The load without its sacks."""
    hours = timedelta(hours=float(practice_in_force(session).number("oven_hours_least")))
    return Load(
        name=row.name,
        oven=row.oven,
        set_celsius=row.set_celsius,
        in_at=at_offset(row.in_at, row.offset_minutes),
        due_at=at_offset(row.in_at + hours, row.offset_minutes),
        out_at=at_offset(row.out_at, row.offset_minutes) if row.out_at else None,
    )


def _sack(position: int, lot: int, code: str | None, grams: dict[str, Decimal]) -> Sack:
    shown = payload.shown(code) if code else ""
    return Sack(position, shown, lot, grams.get("tare"), grams.get("fresh"), grams.get("dry"))
