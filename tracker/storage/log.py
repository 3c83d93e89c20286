"""The signed log beside the events: entries as they were hashed, the tree's hashes, signed heads, and the salts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    ForeignKey,
    LargeBinary,
    Row,
    Select,
    Text,
    bindparam,
    func,
    insert,
    select,
)
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.domain.log_entry import Happened
from tracker.domain.times import at_offset
from tracker.domain.tree import Edge, edge_numbers
from tracker.storage.base import Base, Utc
from tracker.storage.bulk import AT_ONCE, TOGETHER, Values, add_many, read_in_parts, read_raw
from tracker.storage.custody import EventRow
from tracker.storage.people import party_numbers


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


# Every act adds to the log, so the sentences of SQL for it are made once and say columns, not objects.
_ENTRY, _SALT, _NODE, _HEAD = (
    insert(Base.metadata.tables[name]) for name in ("log_entry", "entry_salt", "log_node", "log_head")
)
_LAST = select(func.max(LogEntry.seq))
_NODES = select(LogNode.number, LogNode.hash).where(LogNode.number.in_(bindparam("numbers", expanding=True)))
_SIGNED_AT = select(LogHead.at).order_by(LogHead.id.desc()).limit(1)


def entries(session: Session) -> int:
    """How many entries the log has."""
    return session.connection().scalar(_LAST) or 0


def edge(session: Session, size: int) -> Edge:
    """The tree's right edge over the first `size` entries. Raises KeyError where one of its hashes is not kept."""
    wanted = edge_numbers(size)
    found = nodes(session, wanted)
    return Edge(size, [found[one] for one in wanted])


def edge_before(session: Session, seq: int) -> Edge:
    """The tree's right edge over every entry before this number, or over those there are.

    The edge of a log that lacks none is found with one question; only one that lags behind is counted.
    """
    try:
        return edge(session, seq - 1)
    except KeyError:
        return edge(session, min(entries(session), seq - 1))


def nodes(session: Session, numbers: Sequence[int]) -> dict[int, bytes]:
    """The hashes of these subtrees."""
    rows = session.connection().execute(_NODES, {"numbers": numbers})
    return {row.number: row.hash for row in rows}


def node(session: Session, wanted: int) -> bytes:
    """The hash of this subtree. Raises KeyError where it is not kept."""
    return nodes(session, [wanted])[wanted]


def previous_leaf(session: Session, row: EventRow) -> bytes | None:
    """The leaf hash of the last event before this one in the same life; a sample's first follows its lot's."""
    for wanted, life in ((_OF_SAMPLE, row.sample_id), (_OF_TAG, row.tag_id), (_OF_LOT, row.lot_id)):
        # A sample's life begins with the lot's, so where it has nothing yet the lot is asked; a tag's does not.
        if life is None or (wanted is _OF_TAG and row.sample_id is not None):
            continue
        found: bytes | None = session.connection().scalar(wanted, {"life": life, "before": row.seq})
        if found is not None or wanted is _OF_TAG:
            return found
    return None


def _last_leaf(*of_life: ColumnElement[bool]) -> Select[Any]:
    before = EventRow.seq < bindparam("before")
    last = select(func.max(EventRow.seq)).where(*of_life, before).scalar_subquery()
    # A leaf's number is twice its place, and places count from 0 (domain.tree.number).
    return select(LogNode.hash).where(LogNode.number == 2 * last - 2)


# Made once: an act should not wait for a sentence of SQL to be written.
_OF_SAMPLE = _last_leaf(EventRow.sample_id == bindparam("life"))
_OF_TAG = _last_leaf(EventRow.tag_id == bindparam("life"), EventRow.sample_id.is_(None))
_OF_LOT = _last_leaf(
    EventRow.lot_id == bindparam("life"), EventRow.sample_id.is_(None), EventRow.tag_id.is_(None)
)


def keep_entry(session: Session, seq: int, text: str, salt: bytes, new: Sequence[tuple[int, bytes]]) -> None:
    """Keep an entry with its salt and what it adds to the tree."""
    connection = session.connection()
    connection.execute(_ENTRY, {"seq": seq, "entry": text})
    connection.execute(_SALT, {"seq": seq, "salt": salt})
    connection.execute(_NODE, [{"number": at, "hash": found} for at, found in new])


def keep_entries(
    session: Session,
    entered: Iterable[tuple[int, str]],
    salts: Iterable[tuple[int, bytes]],
    new: Iterable[tuple[int, bytes]],
) -> None:
    """The same for many: numbers with their texts, numbers with their salts, and what they add to the tree."""
    add_many(session, LogEntry, ("seq", "entry"), entered, together=TOGETHER)
    add_many(session, EntrySalt, ("seq", "salt"), salts, together=TOGETHER)
    add_many(session, LogNode, ("number", "hash"), new, together=TOGETHER)


def keep_head(session: Session, size: int, note: str, at: datetime) -> None:
    """Keep a signed head over so many entries with the time it was signed at."""
    session.connection().execute(_HEAD, {"size": size, "note": note, "at": at})


def last_signed_at(session: Session) -> datetime | None:
    """When the newest head was signed, None before the first."""
    return session.connection().scalar(_SIGNED_AT)


def last_head(session: Session) -> LogHead | None:
    """The newest signed head, None before the first."""
    return session.scalar(select(LogHead).order_by(LogHead.id.desc()).limit(1))


def first_head_over(session: Session, size: int) -> LogHead | None:
    """The first head that covers so many entries, None while none does."""
    wanted = select(LogHead).where(LogHead.size >= size).order_by(LogHead.size, LogHead.id).limit(1)
    return session.scalar(wanted)


def happened(session: Session, row: EventRow) -> Happened:
    """The event as the log writes it."""
    said = {
        "note": row.note,
        "late_reason": row.late_reason,
        "device": row.device,
        "device_at": row.device_at,
    }
    return Happened(
        seq=row.seq,
        event_id=row.event_id,
        kind=row.kind,
        sample=row.sample_id,
        lot=row.lot_id,
        tag=row.tag_id,
        occurred_at=at_offset(row.occurred_at, row.occurred_offset),
        recorded_at=row.recorded_at,
        by=row.by,
        role=row.role,
        data=row.data,
        said=said,
        parties=_parties(session, row),
    )


def _parties(session: Session, row: EventRow) -> dict[str, int]:
    return numbers_of(
        session,
        {row.by}
        | {str(part["party"]) for part in row.data.values() if isinstance(part, dict) and part.get("party")},
    )


# Bounds may lie beyond every number that a column can hold.
_FIGURE = partial(bindparam, type_=BigInteger)
# What an entry is written from, in the order of domain.entry_text.Raw; then the entry as kept, and its salt.
_ROWS = (
    select(EventRow.seq, EventRow.event_id, EventRow.kind, EventRow.sample_id, EventRow.lot_id)
    .add_columns(EventRow.tag_id, EventRow.by, EventRow.role, EventRow.data, EventRow.note)
    .add_columns(EventRow.late_reason, EventRow.device, EventRow.device_at)
    .add_columns(EventRow.occurred_at, EventRow.occurred_offset, EventRow.recorded_at)
    .add_columns(LogEntry.entry, EntrySalt.salt)
    .outerjoin(LogEntry, LogEntry.seq == EventRow.seq)
    .outerjoin(EntrySalt, EntrySalt.seq == EventRow.seq)
    .where(EventRow.seq > _FIGURE("after"))
    .order_by(EventRow.seq)
    .limit(AT_ONCE)
)
_BETWEEN = (
    select(LogNode.hash)
    .where(LogNode.number.between(bindparam("first"), bindparam("last")))
    .order_by(LogNode.number)
)
_HEADS = (
    select(LogHead.id, LogHead.size, LogHead.note, LogHead.at)
    .where(LogHead.size > _FIGURE("after"), LogHead.size <= _FIGURE("last"))
    .order_by(LogHead.size, LogHead.id)
)


def raw_entries(session: Session, most: int) -> Iterator[list[Values]]:
    """All events as the driver has them, each with its entry and its salt, if there are; so many at a time."""
    after: int | None = -(2**62)
    while after is not None:
        last = None
        for rows in read_in_parts(session, _ROWS, most, after=after):
            yield rows
            last = rows[-1][0]
        after = last


def raw_hashes(session: Session, first: int, last: int) -> list[Values]:
    """Hashes of the kept subtrees between these numbers, both among them, lowest number first.

    Where there are as many as numbers between them, it is known whose each is: no two have the same (it is the key).
    """
    return read_raw(session, _BETWEEN, first=first, last=last)


def heads_between(session: Session, after: int, last: int) -> Sequence[Row[int, int, str, datetime]]:
    """The kept heads that are filed under more entries than `after` and no more than `last`, smallest first."""
    return session.connection().execute(_HEADS, {"after": after, "last": last}).all()


def numbers_of(session: Session, named: set[str]) -> dict[str, int]:
    """The numbers of these parties, and of whoever was asked for before."""
    known: dict[str, int] = session.info.setdefault("party numbers", {})
    unknown = named - known.keys()
    if unknown:
        known.update(party_numbers(session, unknown))
    return known
