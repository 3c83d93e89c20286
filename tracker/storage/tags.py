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
from tracker.storage.coring import Sample


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


class TagContest(Base):
    """A tag put on another bag than the one it names already. event_id: the second bag's entry in the log."""

    __tablename__ = "tag_contest"

    id: Mapped[int] = mapped_column(primary_key=True)
    tag_id: Mapped[int] = mapped_column(ForeignKey("tag.id"), index=True)
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), index=True)
    event_id: Mapped[str] = mapped_column(Text, unique=True)
    at: Mapped[datetime] = mapped_column(Utc)


class TagSettled(Base):
    """The decision on a contested tag: the bag that gave it up, and the code that this bag carries instead."""

    __tablename__ = "tag_settled"

    id: Mapped[int] = mapped_column(primary_key=True)
    tag_id: Mapped[int] = mapped_column(ForeignKey("tag.id"), index=True)
    keeps_id: Mapped[int] = mapped_column(ForeignKey("sample.id"))
    sample_id: Mapped[int] = mapped_column(ForeignKey("sample.id"), index=True)
    code: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(ForeignKey("party.key"))
    at: Mapped[datetime] = mapped_column(Utc)


def tag_coded(session: Session, text: str) -> Tag:
    """The tag with this code. Raises Refused as domain.tag.code_in, NotFound `unknown-tag`."""
    code = code_in(text)
    row = session.scalar(select(Tag).where(Tag.code == code))
    if row is None:
        raise unknown_tag(code)
    return row


def unknown_tag(code: str) -> NotFound:
    """What is said everywhere of a code that is on no tag of ours."""
    return NotFound(
        "unknown-tag",
        f"No tag {payload.shown(code)} was printed here.",
        field="code",
        remedy="Compare it with the label; if it is right, the bag belongs to another programme.",
    )


def tag_in_use(session: Session, text: str) -> tuple[Tag, int]:
    """The tag and the sample it names.

    Raises as tag_coded, and Refused `tag-void`, `tag-unbound`, `tag-contested`.
    """
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
    refuse_contested(session, tag)
    return tag, tag.sample_id


def refuse_contested(session: Session, tag: Tag) -> None:
    """Nothing, unless two bags carry the tag. Raises Refused `tag-contested`."""
    others = rivals(session, tag)
    if others:
        wanted = select(Sample.lot_id).where(Sample.id.in_([tag.sample_id, *others])).order_by(Sample.lot_id)
        lots = " and ".join(f"lot {lot}" for lot in session.scalars(wanted))
        raise Refused(
            "tag-contested",
            f"Tag {payload.shown(tag.code)} is on record on more than one bag: {lots}.",
            field="code",
            remedy="Somebody of the laboratory decides which bag keeps it: `tracker settle-tag`, or Phones and tags.",
        )


def rivals(session: Session, tag: Tag) -> list[int]:
    """The samples, beside the one that the tag names, whose bags carry it too and were given no other since."""
    contested = select(TagContest.sample_id).where(TagContest.tag_id == tag.id).order_by(TagContest.id)
    gave_up = set(session.scalars(select(TagSettled.sample_id).where(TagSettled.tag_id == tag.id)))
    claims = dict.fromkeys(session.scalars(contested))
    return [sample for sample in claims if sample not in gave_up and sample != tag.sample_id]
