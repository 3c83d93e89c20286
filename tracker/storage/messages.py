"""Whether a producer wants messages, which were made for whom, and what became of each."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Text, UniqueConstraint, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.storage.base import Base, Utc

EMAIL = "e-mail"
WANTED, STOPPED = "wanted", "stopped"
READY, REPLACED, REFUSED = "ready", "replaced", "refused"
SENT, FAILED = "sent", "failed"


class MessageChoice(Base):
    """A producer asked for messages on a channel, or for an end of them; the latest row counts.

    by: a party's key, or "producer" where he did it himself by a link. how: as he said it, on paper, by telephone.
    """

    __tablename__ = "message_choice"
    __table_args__ = (
        CheckConstraint("channel in ('e-mail')", name="channel"),
        CheckConstraint("choice in ('wanted', 'stopped')", name="choice"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    producer_id: Mapped[int] = mapped_column(ForeignKey("producer.id"), index=True)
    channel: Mapped[str] = mapped_column(Text)
    address: Mapped[str] = mapped_column(Text)
    choice: Mapped[str] = mapped_column(Text)
    how: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)


class Message(Base):
    """One message that was made: about which sample, and why. Its link is a row of result_link.

    attempt: 1, or one more after a message could not be sent. about: the report's number, or what ended the sample.
    """

    __tablename__ = "message"
    __table_args__ = (
        UniqueConstraint("sample_id", "kind", "about", "attempt"),
        CheckConstraint("kind in ('ready', 'replaced', 'refused')", name="kind"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    producer_id: Mapped[int] = mapped_column(ForeignKey("producer.id"), index=True)
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"))
    link_id: Mapped[int] = mapped_column(ForeignKey("result_link.id"))
    kind: Mapped[str] = mapped_column(Text)
    about: Mapped[str] = mapped_column(Text)
    attempt: Mapped[int]
    channel: Mapped[str] = mapped_column(Text)
    address: Mapped[str] = mapped_column(Text)
    made_at: Mapped[datetime] = mapped_column(Utc)


class MessageFate(Base):
    """What became of a message: sent, or failed and why. None at all: the program was stopped while it was sent."""

    __tablename__ = "message_fate"
    __table_args__ = (CheckConstraint("fate in ('sent', 'failed')", name="fate"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    message_id: Mapped[int] = mapped_column(ForeignKey("message.id"), unique=True)
    fate: Mapped[str] = mapped_column(Text)
    words: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)


def choice_of(session: Session, producer_id: int, channel: str = EMAIL) -> MessageChoice | None:
    """What the producer last said about messages on this channel; None if he never did."""
    wanted = select(MessageChoice).where(
        MessageChoice.producer_id == producer_id, MessageChoice.channel == channel
    )
    return session.scalar(wanted.order_by(MessageChoice.id.desc()).limit(1))
