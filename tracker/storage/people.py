"""Those who can hold a sample, and those who own the hay."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from difflib import get_close_matches
from typing import Any

from sqlalchemy import CheckConstraint, Row, Text, bindparam, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.domain.custody import Party
from tracker.errors import NotFound
from tracker.storage.base import Base, Utc
from tracker.storage.bulk import ask, table_of


class PartyRow(Base):
    """A person of the programme, a place that keeps samples, or a carrier."""

    __tablename__ = "party"
    __table_args__ = (CheckConstraint("kind in ('person', 'place', 'carrier')", name="kind"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(Text, unique=True)
    name: Mapped[str] = mapped_column(Text)
    kind: Mapped[str] = mapped_column(Text)
    role: Mapped[str] = mapped_column(Text)
    secure: Mapped[bool]
    added_at: Mapped[datetime] = mapped_column(Utc)


class Producer(Base):
    """The person who owns the hay."""

    __tablename__ = "producer"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text, unique=True)
    phone: Mapped[str] = mapped_column(Text)
    email: Mapped[str] = mapped_column(Text)
    place: Mapped[str] = mapped_column(Text)
    added_at: Mapped[datetime] = mapped_column(Utc)


_NAMED = select(table_of(PartyRow)).where(table_of(PartyRow).c.key == bindparam("wanted"))


def party(session: Session, key: str, *, field: str = "by") -> Party:
    """The party with this key. Raises NotFound `unknown-party`."""
    row = ask(session, _NAMED, wanted=key).first()
    if row is None:
        raise NotFound(
            "unknown-party",
            f"Nobody here is called {key!r}.",
            field=field,
            remedy="`tracker people` lists everyone; `tracker add-person` and `tracker add-place` add more.",
        )
    # Whoever acts is named in the log by his number.
    session.info.setdefault("party numbers", {})[key] = row.id
    return as_party(row)


def as_party(row: PartyRow | Row[Any]) -> Party:
    """The row as a value."""
    return Party(row.key, row.name, row.kind, row.role, row.secure)


def party_names(session: Session) -> dict[str, str]:
    """Names by key, for sentences."""
    return {row.key: row.name for row in session.execute(select(PartyRow.key, PartyRow.name))}


_NUMBERS = select(PartyRow.key, PartyRow.id)
_NUMBERS_OF = _NUMBERS.where(PartyRow.key.in_(bindparam("keys", expanding=True)))


def party_numbers(session: Session, keys: Collection[str] | None = None) -> dict[str, int]:
    """The numbers of these parties, or of all, by key; what leaves the office names people by it."""
    connection = session.connection()
    rows = (
        connection.execute(_NUMBERS)
        if keys is None
        else connection.execute(_NUMBERS_OF, {"keys": list(keys)})
    )
    return {row.key: row.id for row in rows}


def producer_named(session: Session, name: str) -> Producer:
    """The producer of this name. Raises NotFound `unknown-producer`."""
    row = session.scalar(select(Producer).where(Producer.name == name))
    if row is None:
        near = get_close_matches(name, session.scalars(select(Producer.name)).all(), n=1)
        raise NotFound(
            "unknown-producer",
            f"There is no producer called {name!r}.",
            field="producer",
            remedy=f"Did you mean {near[0]}?" if near else "Add the producer first: `tracker add-producer`.",
        )
    return row
