"""What phones sent: each contact, each entry as it came, and the office's first answer, which stands for ever."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, ForeignKey, Index, Text, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.domain.times import at_offset
from tracker.storage.base import Base, Plain, Utc


class FieldContact(Base):
    """One time that a phone was heard of: by its sending, by taking its pack along, or by a file carried here.

    device: the name a phone gave itself once; called: what people call it. sent_at: the phone's clock as it sent,
    RFC 3339. slow_ms: the office's clock less the phone's, None where it cannot be told. unsent: how many entries
    the phone says that it still has.
    """

    __tablename__ = "field_contact"
    __table_args__ = (CheckConstraint("via in ('sent', 'pack', 'file')", name="via"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    device: Mapped[str] = mapped_column(Text, index=True)
    called: Mapped[str] = mapped_column(Text)
    via: Mapped[str] = mapped_column(Text)
    sent_at: Mapped[str | None] = mapped_column(Text)
    slow_ms: Mapped[int | None] = mapped_column(BigInteger)
    unsent: Mapped[int | None]
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


class FieldEntry(Base):
    """One entry as a phone sent it. who: who did it; by: whose sign-in sent it, or who loaded the file.

    number: the phone's own count. device_time as written there, RFC 3339; offset_ms: the phone's estimate of the
    office's clock less its own; occurred_at: the time that counts, by `clock_basis`; clock_words: what is to be
    said of the phone's clock. body_hash: SHA-256 of the body's one text.
    """

    __tablename__ = "field_entry"
    __table_args__ = (
        Index("ix_field_entry_device_number", "device", "number"),
        CheckConstraint("source in ('phone', 'paper')", name="source"),
        CheckConstraint("via in ('sent', 'file')", name="via"),
    )

    event_id: Mapped[str] = mapped_column(Text, primary_key=True)
    device: Mapped[str] = mapped_column(Text)
    number: Mapped[int]
    kind: Mapped[str] = mapped_column(Text)
    who: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    device_time: Mapped[str] = mapped_column(Text)
    offset_ms: Mapped[int | None] = mapped_column(BigInteger)
    clock_jumped: Mapped[bool]
    clock_basis: Mapped[str] = mapped_column(Text)
    clock_slow_ms: Mapped[int | None] = mapped_column(BigInteger)
    clock_doubted: Mapped[bool]
    clock_words: Mapped[str] = mapped_column(Text)
    occurred_at: Mapped[datetime] = mapped_column(Utc)
    occurred_offset: Mapped[int]
    received_at: Mapped[datetime] = mapped_column(Utc)
    source: Mapped[str] = mapped_column(Text)
    via: Mapped[str] = mapped_column(Text)
    paper: Mapped[Any | None] = mapped_column(Plain)
    replaces: Mapped[str | None] = mapped_column(Text, index=True)
    body_hash: Mapped[str] = mapped_column(Text)
    body: Mapped[Any] = mapped_column(Plain)

    @property
    def at(self) -> datetime:
        """The time that counts, at the phone's own offset from UTC."""
        return at_offset(self.occurred_at, self.occurred_offset)


class FieldAnswer(Base):
    """What became of an entry. made: the lot, sample and code that it made or was about."""

    __tablename__ = "field_answer"
    __table_args__ = (CheckConstraint("answer in ('accepted', 'refused')", name="answer"),)

    event_id: Mapped[str] = mapped_column(ForeignKey("field_entry.event_id"), primary_key=True)
    answer: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)
    code: Mapped[str | None] = mapped_column(Text)
    words: Mapped[str | None] = mapped_column(Text)
    field: Mapped[str | None] = mapped_column(Text)
    remedy: Mapped[str | None] = mapped_column(Text)
    made: Mapped[Any | None] = mapped_column(Plain)
    contested: Mapped[bool]
    notices: Mapped[Any] = mapped_column(Plain)


def waiting_entries(session: Session) -> list[FieldEntry]:
    """The entries without an answer, in the order they came."""
    wanted = select(FieldEntry).outerjoin(FieldAnswer, FieldAnswer.event_id == FieldEntry.event_id)
    return list(
        session.scalars(
            wanted.where(FieldAnswer.event_id.is_(None)).order_by(
                FieldEntry.received_at, FieldEntry.device, FieldEntry.number
            )
        )
    )


def answer_to(session: Session, event_id: str) -> FieldAnswer | None:
    """The answer to the entry, or to the last one that was sent to replace it after a refusal; None before it."""
    seen = set()
    while event_id not in seen:
        seen.add(event_id)
        found = session.get(FieldAnswer, event_id)
        if found is None or found.answer == "accepted":
            return found
        wanted = select(FieldEntry.event_id).where(FieldEntry.replaces == event_id)
        again = session.scalars(wanted.order_by(FieldEntry.received_at.desc()).limit(1)).first()
        if again is None:
            return found
        event_id = again
    return None
