"""Who may see a lot's results without an account: links to share, what became of a token, and each opening.

The stub's own token stands with its tag (tracker.storage.tags). Whatever happens to any token is a row here under its
hash, so that a new token begins with a clean sheet and the old one stays dead.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import CheckConstraint, Date, ForeignKey, Index, Text, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.errors import NotFound
from tracker.storage.base import Base, Utc

ADVISER, MESSAGE = "adviser", "message"


class ResultLink(Base):
    """A token made to share results: an adviser's, or the one in a message. Only its hash is kept.

    name: whom it was made for. lot_id None: all lots of the producer. until: the last day it opens, by the office's
    calendar. made_by: a party's key, or "producer" where the producer made it by his stub.
    """

    __tablename__ = "result_link"
    __table_args__ = (CheckConstraint("kind in ('adviser', 'message')", name="kind"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(Text, unique=True)
    kind: Mapped[str] = mapped_column(Text)
    producer_id: Mapped[int] = mapped_column(ForeignKey("producer.id"), index=True)
    lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"), index=True)
    name: Mapped[str] = mapped_column(Text)
    until: Mapped[date] = mapped_column(Date)
    made_by: Mapped[str] = mapped_column(Text)
    made_at: Mapped[datetime] = mapped_column(Utc)


class TokenChange(Base):
    """A token was paused, opened again, or revoked; the latest row of a hash counts, and revoked is for ever."""

    __tablename__ = "token_change"
    __table_args__ = (CheckConstraint("change in ('paused', 'resumed', 'revoked')", name="change"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(Text, index=True)
    change: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)


class Opening(Base):
    """Somebody opened a page of results, or tried to.

    token_hash: None where the token opens nothing. came_from: a keyed hash of the address that changes every day:
    enough to count by, too little to find anybody with.
    """

    __tablename__ = "opening"
    __table_args__ = (
        CheckConstraint("what in ('page', 'animals', 'pdf', 'csv', 'links', 'nothing')", name="what"),
        Index("ix_opening_came_from_at", "came_from", "at"),
        Index("ix_opening_token_hash_at", "token_hash", "at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str | None] = mapped_column(Text)
    what: Mapped[str] = mapped_column(Text)
    came_from: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)


def last_change(session: Session, token_hash: str) -> TokenChange | None:
    """What last became of this token; None while nothing has."""
    wanted = select(TokenChange).where(TokenChange.token_hash == token_hash)
    return session.scalar(wanted.order_by(TokenChange.id.desc()).limit(1))


def link_numbered(session: Session, number: int) -> ResultLink:
    """The link with this number. Raises NotFound `unknown-result-link`."""
    row = session.get(ResultLink, number)
    if row is None:
        raise NotFound(
            "unknown-result-link",
            f"There is no link {number}.",
            field="link",
            remedy="`tracker links` lists them.",
        )
    return row


def links_of(session: Session, producer_id: int, *, kind: str = ADVISER) -> Sequence[ResultLink]:
    """A producer's links of one kind, the oldest first."""
    wanted = select(ResultLink).where(ResultLink.producer_id == producer_id, ResultLink.kind == kind)
    return session.scalars(wanted.order_by(ResultLink.id)).all()
