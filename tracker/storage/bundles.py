"""Lots of other seasons and offices, as their bundles told them: kept to be read, and never mixed with our own."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, LargeBinary, Text, UniqueConstraint, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.errors import NotFound
from tracker.storage.base import Base, Plain, Utc


class KeptBundle(Base):
    """What a bundle's lot.json said; sha256 is that of the whole bundle."""

    __tablename__ = "kept_bundle"

    id: Mapped[int] = mapped_column(primary_key=True)
    sha256: Mapped[str] = mapped_column(Text, unique=True)
    lot: Mapped[Any] = mapped_column(Plain)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class KeptPaper(Base):
    """A report or a proof of a kept bundle, byte for byte, under its name there."""

    __tablename__ = "kept_paper"
    __table_args__ = (UniqueConstraint("bundle_id", "name"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    bundle_id: Mapped[int] = mapped_column(ForeignKey("kept_bundle.id"))
    name: Mapped[str] = mapped_column(Text)
    content: Mapped[bytes] = mapped_column(LargeBinary)


def bundle_numbered(session: Session, number: int) -> KeptBundle:
    """The kept bundle of this number. Raises NotFound `unknown-bundle`."""
    row = session.get(KeptBundle, number)
    if row is None:
        raise NotFound(
            "unknown-bundle",
            f"There is no kept bundle {number}.",
            field="lot",
            remedy="`tracker bundles` lists them.",
        )
    return row


def papers_of(session: Session, number: int) -> dict[str, bytes]:
    """The reports and proofs of a kept bundle by their names."""
    rows = session.scalars(select(KeptPaper).where(KeptPaper.bundle_id == number))
    return {row.name: row.content for row in rows}
