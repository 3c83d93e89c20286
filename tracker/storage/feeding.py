"""What the programme itself knows of feeds and animals: versions that are added, and never changed."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, Text, UniqueConstraint, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.domain.feed import Feed, checked_feed
from tracker.domain.herd import Group
from tracker.files.feeds_file import shipped_feeds
from tracker.storage.base import Base, Digits, Plain, Utc
from tracker.storage.people import Producer


class FeedVersion(Base):
    """One version of a feed, whole; the latest of a key is in force. given: what was changed, as it was written."""

    __tablename__ = "feed_version"
    __table_args__ = (UniqueConstraint("key", "version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(Text)
    version: Mapped[int]
    values: Mapped[Any] = mapped_column(Plain)
    given: Mapped[Any] = mapped_column(Plain)
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class GroupVersion(Base):
    """One version of a producer's group of animals; the latest of a name is in force. head 0: it is gone."""

    __tablename__ = "group_version"
    __table_args__ = (
        UniqueConstraint("producer_id", "name", "version"),
        CheckConstraint("head >= 0", name="head"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    producer_id: Mapped[int] = mapped_column(ForeignKey("producer.id"))
    name: Mapped[str] = mapped_column(Text)
    version: Mapped[int]
    kind: Mapped[str] = mapped_column(Text)
    head: Mapped[int]
    weight_lb: Mapped[Decimal] = mapped_column(Digits)
    calving: Mapped[date | None]
    peak_milk_lb: Mapped[Decimal | None] = mapped_column(Digits)
    condition: Mapped[Decimal | None] = mapped_column(Digits)
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class KeptPlan(Base):
    """A season plan as it was made; all but who and when is empty once it was erased with its producer.

    asked, rests_on, told: plain values as tracker.domain.season_kept has them; paper: the PDF.
    """

    __tablename__ = "kept_plan"

    id: Mapped[int] = mapped_column(primary_key=True)
    producer_id: Mapped[int] = mapped_column(ForeignKey("producer.id"), index=True)
    asked: Mapped[Any] = mapped_column(Plain)
    rests_on: Mapped[Any] = mapped_column(Plain)
    told: Mapped[Any] = mapped_column(Plain)
    paper: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


def feed_versions(session: Session, key: str | None = None) -> tuple[FeedVersion, ...]:
    """Every version of one feed or of all, the oldest first."""
    wanted = select(FeedVersion).order_by(FeedVersion.id)
    return tuple(session.scalars(wanted if key is None else wanted.where(FeedVersion.key == key)))


def group_versions(
    session: Session, producer: Producer | None = None
) -> tuple[tuple[GroupVersion, Producer], ...]:
    """Every version of the groups of one producer or of all with their producer, the oldest first."""
    wanted = select(GroupVersion, Producer).join(Producer, Producer.id == GroupVersion.producer_id)
    wanted = wanted.order_by(GroupVersion.id)
    rows = session.execute(wanted if producer is None else wanted.where(Producer.id == producer.id))
    return tuple((row, owner) for row, owner in rows)


def as_group(row: GroupVersion) -> Group:
    """The row as the domain knows it."""
    return Group(row.name, row.kind, row.head, row.weight_lb, row.calving, row.peak_milk_lb, row.condition)


def feeds_in_force(session: Session) -> tuple[Feed, ...]:
    """Every feed by its short name, those not offered too: what the programme set, over the table shipped.

    Raises NotFound `fixtures-missing`.
    """
    found = {feed.key: feed for feed in shipped_feeds()}
    latest = {row.key: row.values for row in feed_versions(session)}
    found |= {key: checked_feed(values, own=True) for key, values in latest.items()}
    return tuple(sorted(found.values(), key=lambda feed: feed.key))
