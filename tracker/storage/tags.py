"""Print runs and the tags they made."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Text, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from labels import payload
from tracker.domain.tag import VOID, code_in
from tracker.errors import NotFound, Refused
from tracker.storage.base import Base, Plain, Utc


class PrintRun(Base):
    """One printing of labels: on what, from which cell, by whom. layout holds stock, start, skip, offset."""

    __tablename__ = "print_run"

    id: Mapped[int] = mapped_column(primary_key=True)
    what: Mapped[str] = mapped_column(Text)
    count: Mapped[int]
    layout: Mapped[Any] = mapped_column(Plain)
    base_url: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    printed_by: Mapped[str] = mapped_column(Text)
    printed_at: Mapped[datetime] = mapped_column(Utc)


class Tag(Base):
    """One code for one bag. Only a hash of the stub's token is kept; state follows from the tag's events.

    number: its place in the print run, from 1. issued_to: who carries it, until it is on a bag or void.
    """

    __tablename__ = "tag"
    __table_args__ = (CheckConstraint("state in ('printed', 'issued', 'bound', 'void')", name="state"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(Text, unique=True)
    token_hash: Mapped[str] = mapped_column(Text, unique=True)
    run_id: Mapped[int] = mapped_column(ForeignKey("print_run.id"), index=True)
    lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"), index=True)
    sample_id: Mapped[int | None] = mapped_column(ForeignKey("sample.id"), index=True)
    state: Mapped[str] = mapped_column(Text)
    number: Mapped[int]
    issued_to: Mapped[str | None] = mapped_column(ForeignKey("party.key"), index=True)


def tag_coded(session: Session, text: str) -> Tag:
    """The tag with this code. Raises Refused as domain.tag.code_in, NotFound `unknown-tag`."""
    code = code_in(text)
    row = session.scalar(select(Tag).where(Tag.code == code))
    if row is None:
        raise NotFound(
            "unknown-tag",
            f"No tag {payload.shown(code)} was printed here.",
            field="code",
            remedy="Compare it with the label; if it is right, the bag belongs to another programme.",
        )
    return row


def tag_in_use(session: Session, text: str) -> tuple[Tag, int]:
    """The tag and the sample it names. Raises as tag_coded, and Refused `tag-void`, `tag-unbound`."""
    tag = tag_coded(session, text)
    if tag.state == VOID:
        raise Refused(
            "tag-void",
            f"Tag {payload.shown(tag.code)} is void.",
            field="code",
            remedy="The bag has another tag by now: `tracker way` of the old one names it.",
        )
    if tag.sample_id is None:
        raise Refused(
            "tag-unbound",
            f"Tag {payload.shown(tag.code)} is not on any bag yet.",
            field="code",
            remedy="Bind it first: `tracker bind`.",
        )
    return tag, tag.sample_id
