"""Whom a token lets in and to what, how often it was used, and whether an address knocks too often."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.sharing import MOST_OPENINGS, MOST_TRIES, PAUSED, REVOKED, WITHIN, is_open
from tracker.domain.tag import VOID
from tracker.domain.times import CLOCK_SKEW
from tracker.errors import NotFound
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer, party_names
from tracker.storage.shares import ADVISER, Opening, ResultLink, last_change
from tracker.storage.tags import Tag, tag_coded

STUB = "stub"


@dataclass(frozen=True)
class Reader:
    """Whoever holds a token that opens. kind: "stub", "adviser" or "message"; name: of an adviser.

    lots: the numbers of the lots it shows, none for a stub that is on no bag yet. sample: the stub's own sample;
    code: the code of the stub's tag.
    """

    kind: str
    name: str
    token_hash: str
    producer: int | None
    lots: tuple[int, ...]
    sample: int | None = None
    code: str = ""
    until: date | None = None
    link: int | None = None


def reader_of(session: Session, token: str, today: date) -> Reader:
    """Whom this token lets in.

    Raises NotFound `unknown-stub` alike for a token that never was, is paused, revoked, replaced, out of date, or of
    a void tag: which of them it is tells a stranger something. The same questions are asked for each, so that the
    answer takes as long.
    """
    hashed = payload.token_hash(token)
    tag = session.scalar(select(Tag).where(Tag.token_hash == hashed))
    link = session.scalar(select(ResultLink).where(ResultLink.token_hash == hashed))
    change = last_change(session, hashed)
    live = is_open(change.change if change else None, link.until if link else None, today)
    if not live or (link is None and (tag is None or tag.state == VOID)):
        raise NotFound(
            "unknown-stub",
            "This tag is not active.",
            field="scan",
            remedy="Ask the programme; it can say why and give you another.",
        )
    if link is not None:
        return _by_link(session, link)
    assert tag is not None
    return _by_stub(session, tag)


def _by_link(session: Session, link: ResultLink) -> Reader:
    wanted = select(Lot.id).join(Field).where(Field.producer_id == link.producer_id).order_by(Lot.id.desc())
    lots = (link.lot_id,) if link.lot_id is not None else tuple(session.scalars(wanted))
    return Reader(
        kind=link.kind,
        name=link.name,
        token_hash=link.token_hash,
        producer=link.producer_id,
        lots=lots,
        until=link.until,
        link=link.id,
    )


def _by_stub(session: Session, tag: Tag) -> Reader:
    producer = session.scalar(select(Field.producer_id).join(Lot).where(Lot.id == tag.lot_id))
    return Reader(
        kind=STUB,
        name="",
        token_hash=tag.token_hash,
        producer=producer,
        lots=(tag.lot_id,) if tag.lot_id is not None else (),
        sample=tag.sample_id,
        code=tag.code,
    )


def knocks_too_often(session: Session, came_from: str, now: datetime) -> bool:
    """Whether this address has opened, or tried to open, more than a person would."""
    recent = select(Opening.what, func.count()).where(
        Opening.came_from == came_from, Opening.at > now - WITHIN, Opening.at <= now + CLOCK_SKEW
    )
    counts = {row.what: int(row[1]) for row in session.execute(recent.group_by(Opening.what))}
    return counts.get("nothing", 0) >= MOST_TRIES or sum(counts.values()) >= MOST_OPENINGS


@dataclass(frozen=True)
class Opened:
    """How often the results were opened by a token, and when last."""

    times: int
    last: datetime | None


def openings(session: Session, token_hash: str) -> Opened:
    """Each time a page of results was opened; choosing animals on it is not another time."""
    wanted = select(func.count(), func.max(Opening.at)).where(
        Opening.token_hash == token_hash, Opening.what.in_(("page", "pdf", "csv"))
    )
    times, last = session.execute(wanted).one()
    return Opened(times, last)


@dataclass(frozen=True)
class SharedLink:
    """One link in a list. state: "open", "ended" by its date, or "taken back"; lot None: all lots."""

    number: int
    kind: str
    name: str
    lot: int | None
    until: date
    made_by: str
    made_at: datetime
    state: str
    opened: Opened


def shared_links(
    session: Session, producer: int, today: date, *, lot: int | None = None, kind: str = ADVISER
) -> tuple[SharedLink, ...]:
    """A producer's links of one kind, the newest first; lot: only those to this lot alone."""
    wanted = select(ResultLink).where(ResultLink.producer_id == producer, ResultLink.kind == kind)
    if lot is not None:
        wanted = wanted.where(ResultLink.lot_id == lot)
    names = {**party_names(session), "producer": "the producer"}
    rows = session.scalars(wanted.order_by(ResultLink.id.desc())).all()
    return tuple(_shared(session, row, today, names) for row in rows)


def _shared(session: Session, row: ResultLink, today: date, names: dict[str, str]) -> SharedLink:
    change = last_change(session, row.token_hash)
    state = "taken back" if change is not None and change.change == REVOKED else "open"
    if state == "open" and today > row.until:
        state = "ended"
    return SharedLink(
        number=row.id,
        kind=row.kind,
        name=row.name,
        lot=row.lot_id,
        until=row.until,
        made_by=names.get(row.made_by, row.made_by),
        made_at=row.made_at,
        state=state,
        opened=openings(session, row.token_hash),
    )


@dataclass(frozen=True)
class StubState:
    """A tag's stub as the office sees it. state: "open", "paused", "revoked", or "void" with its tag."""

    code: str
    shown: str
    lot: int | None
    producer_id: int | None
    producer: str
    state: str
    reason: str
    opened: Opened


def stub_state(session: Session, text: str) -> StubState:
    """The stub of the tag with this code. Raises as tag_coded."""
    tag = tag_coded(session, text)
    change = last_change(session, tag.token_hash)
    state = change.change if change is not None and change.change in (PAUSED, REVOKED) else "open"
    owner = session.execute(
        select(Producer.id, Producer.name)
        .join(Field, Field.producer_id == Producer.id)
        .join(Lot, Lot.field_id == Field.id)
        .where(Lot.id == tag.lot_id)
    ).one_or_none()
    return StubState(
        code=tag.code,
        shown=payload.shown(tag.code),
        lot=tag.lot_id,
        producer_id=owner[0] if owner else None,
        producer=owner[1] if owner else "",
        state="void" if tag.state == VOID else state,
        reason=change.reason if change is not None and state != "open" else "",
        opened=openings(session, tag.token_hash),
    )
