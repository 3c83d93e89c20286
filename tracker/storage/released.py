"""The numbers of each sample's latest report, one by one, kept for questions over many lots.

They can be made again from the reports at any time: a later version takes the place of the earlier one's numbers
here, and the reports themselves stay as they were.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from sqlalchemy import ForeignKey, Text, bindparam, delete, func, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.storage.base import Base, Digits
from tracker.storage.bulk import ask, table_of
from tracker.storage.coring import Sample
from tracker.storage.hay_counts import TOTAL_DM, count_lot
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer


class ReleasedValue(Base):
    """One number as it was issued: on dry matter, or as its unit says; total DM in % as received."""

    __tablename__ = "released_value"

    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), primary_key=True)
    code: Mapped[str] = mapped_column(Text, primary_key=True)
    value: Mapped[Decimal] = mapped_column(Digits)


# A lot that was sampled again counts by its newest sample that has a report.
_NEWEST = (
    select(func.max(ReleasedValue.sample_id))
    .join(Sample, Sample.id == ReleasedValue.sample_id)
    .where(Sample.lot_id == bindparam("lot"))
    .scalar_subquery()
)
_OF_LOT = select(ReleasedValue.code, ReleasedValue.value).where(ReleasedValue.sample_id == _NEWEST)
_LOT_OF = select(Sample.lot_id).where(Sample.id == bindparam("sample"))
_FORGET = delete(table_of(ReleasedValue)).where(ReleasedValue.sample_id == bindparam("sample"))
_KEEP = insert(table_of(ReleasedValue))


def keep_released(session: Session, sample_id: int, body: Mapping[str, Any]) -> None:
    """Let the numbers of this report stand for the sample, and for its lot where no newer sample has a report."""
    lot = ask(session, _LOT_OF, sample=sample_id).scalar_one()
    _count(session, lot, -1)
    ask(session, _FORGET, sample=sample_id)
    rows = [{"sample_id": sample_id, "code": code, "value": value} for code, value in numbers_of(body)]
    if rows:
        session.connection().execute(_KEEP, rows)
    _count(session, lot, 1)


def move_producer(session: Session, producer: Producer, place: str) -> None:
    """Write another place beside a producer, and count his hay there."""
    lots = session.scalars(select(Lot.id).join(Field).where(Field.producer_id == producer.id)).all()
    for lot in lots:
        _count(session, lot, -1)
    producer.place = place
    session.flush()
    for lot in lots:
        _count(session, lot, 1)


def _count(session: Session, lot: int, times: int) -> None:
    values = {code: format(value, "f") for code, value in ask(session, _OF_LOT, lot=lot)}
    if values:
        count_lot(session, lot, values, times)


def numbers_of(body: Mapping[str, Any]) -> Iterator[tuple[str, Decimal]]:
    """Code and value of everything a report gives a number for."""
    total = (body.get("dry_matter") or {}).get("total")
    if total is not None:
        yield TOTAL_DM, Decimal(total)
    for part, name in (("results", "dm"), ("derived", "value")):
        for row in body.get(part, ()):
            if row.get(name) is not None:
                yield str(row["code"]), Decimal(row[name])
