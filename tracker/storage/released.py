"""The numbers of each sample's latest report, one by one, kept for questions over many lots.

They can be made again from the reports at any time: a later version takes the place of the earlier one's numbers
here, and the reports themselves stay as they were.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from sqlalchemy import ForeignKey, Text, delete, insert
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.storage.base import Base, Digits

TOTAL_DM = "total DM"


class ReleasedValue(Base):
    """One number as it was issued: on dry matter, or as its unit says; total DM in % as received."""

    __tablename__ = "released_value"

    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), primary_key=True)
    code: Mapped[str] = mapped_column(Text, primary_key=True)
    value: Mapped[Decimal] = mapped_column(Digits)


def keep_released(session: Session, sample_id: int, body: Mapping[str, Any]) -> None:
    """Let the numbers of this report stand for the sample."""
    session.execute(delete(ReleasedValue).where(ReleasedValue.sample_id == sample_id))
    rows = [{"sample_id": sample_id, "code": code, "value": value} for code, value in numbers_of(body)]
    if rows:
        session.execute(insert(ReleasedValue), rows)


def numbers_of(body: Mapping[str, Any]) -> Iterator[tuple[str, Decimal]]:
    """Code and value of everything a report gives a number for."""
    total = (body.get("dry_matter") or {}).get("total")
    if total is not None:
        yield TOTAL_DM, Decimal(total)
    for part, name in (("results", "dm"), ("derived", "value")):
        for row in body.get(part, ()):
            if row.get(name) is not None:
                yield str(row["code"]), Decimal(row[name])
