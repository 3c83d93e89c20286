"""The signed log beside the events: entries as they were hashed, the tree's hashes, signed heads, and the salts."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import ForeignKey, LargeBinary, Text, func, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.domain.tree import Edge, edge_numbers, number
from tracker.storage.base import Base, Utc
from tracker.storage.custody import EventRow


class LogEntry(Base):
    """The canonical text of an event, byte for byte as it was hashed; entry seq is leaf seq - 1 of the tree."""

    __tablename__ = "log_entry"

    seq: Mapped[int] = mapped_column(ForeignKey("event.seq"), primary_key=True, autoincrement=False)
    entry: Mapped[str] = mapped_column(Text)


class LogNode(Base):
    """A whole subtree's hash under its number (domain.tree.number); leaves have the even ones."""

    __tablename__ = "log_node"

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    hash: Mapped[bytes] = mapped_column(LargeBinary)


class LogHead(Base):
    """A signed head: how many entries there were, and the note as it was signed."""

    __tablename__ = "log_head"

    id: Mapped[int] = mapped_column(primary_key=True)
    size: Mapped[int] = mapped_column(index=True)
    note: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)


class EntrySalt(Base):
    """What proves the words of an entry. Taken away when a person's words must be; the entry stays as it is."""

    __tablename__ = "entry_salt"

    seq: Mapped[int] = mapped_column(ForeignKey("event.seq"), primary_key=True, autoincrement=False)
    salt: Mapped[bytes] = mapped_column(LargeBinary)


def entries(session: Session) -> int:
    """How many entries the log has."""
    return session.scalar(select(func.max(LogEntry.seq))) or 0


def edge(session: Session, size: int) -> Edge:
    """The tree's right edge over the first `size` entries."""
    wanted = edge_numbers(size)
    found = nodes(session, wanted)
    return Edge(size, [found[one] for one in wanted])


def nodes(session: Session, numbers: Sequence[int]) -> dict[int, bytes]:
    """The hashes of these subtrees."""
    rows = session.execute(select(LogNode.number, LogNode.hash).where(LogNode.number.in_(numbers)))
    return {row.number: row.hash for row in rows}


def node(session: Session, wanted: int) -> bytes:
    """The hash of this subtree. Raises KeyError where it is not kept."""
    return nodes(session, [wanted])[wanted]


def previous_leaf(session: Session, row: EventRow) -> bytes | None:
    """The leaf hash of the last event before this one in the same life; a sample's first follows its lot's."""
    before = EventRow.seq < row.seq
    if row.sample_id is not None:
        found = _last_leaf(session, EventRow.sample_id == row.sample_id, before)
        if found is not None:
            return found
        # The sample's life begins with the lot's.
        row_lot = EventRow.lot_id == row.lot_id
        return _last_leaf(session, row_lot, EventRow.sample_id.is_(None), EventRow.tag_id.is_(None), before)
    if row.tag_id is not None:
        return _last_leaf(session, EventRow.tag_id == row.tag_id, EventRow.sample_id.is_(None), before)
    if row.lot_id is not None:
        row_lot = EventRow.lot_id == row.lot_id
        return _last_leaf(session, row_lot, EventRow.sample_id.is_(None), EventRow.tag_id.is_(None), before)
    return None


def _last_leaf(session: Session, *conditions: object) -> bytes | None:
    seq = session.scalar(select(func.max(EventRow.seq)).where(*conditions))  # type: ignore[arg-type]
    return None if seq is None else node(session, number(0, seq - 1))


def keep_entry(session: Session, seq: int, text: str, salt: bytes, new: Sequence[tuple[int, bytes]]) -> None:
    """Keep an entry with its salt and what it adds to the tree."""
    session.execute(insert(LogEntry), {"seq": seq, "entry": text})
    session.execute(insert(EntrySalt), {"seq": seq, "salt": salt})
    session.execute(insert(LogNode), [{"number": at, "hash": found} for at, found in new])


def last_head(session: Session) -> LogHead | None:
    """The newest signed head, None before the first."""
    return session.scalar(select(LogHead).order_by(LogHead.id.desc()).limit(1))


def first_head_over(session: Session, size: int) -> LogHead | None:
    """The first head that covers so many entries, None while none does."""
    wanted = select(LogHead).where(LogHead.size >= size).order_by(LogHead.size, LogHead.id).limit(1)
    return session.scalar(wanted)
