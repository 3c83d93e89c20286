"""The phones of the programme as the office knows them: last heard of, what never came, and whose clock is wrong."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.field_clock import BADLY_WRONG, UNNOTICED
from tracker.domain.field_entry import missing, used_twice
from tracker.domain.times import duration_said
from tracker.storage.field import FieldAnswer, FieldContact, FieldEntry, waiting_entries
from tracker.storage.people import party_names

# Common sense of a working day: what was not sent by the next morning is asked for.
LONG_UNSENT = timedelta(hours=24)


@dataclass(frozen=True)
class Phone:
    """One phone. unsent: how many entries it said it still had when it was last heard of, None if it did not say.

    gaps: stretches of its count that never came; used_twice: numbers that it used for two entries; slow: how far
    its clock was behind the office's when it last sent, None where nobody knows; clock: what is to be said of it.
    """

    device: str
    called: str
    by: str
    last_at: datetime
    unsent: int | None
    entries: int
    waiting: int
    gaps: tuple[tuple[int, int], ...]
    used_twice: tuple[int, ...]
    slow: timedelta | None
    clock: str
    clock_badly_wrong: bool
    doubted: int

    @property
    def short(self) -> str:
        """The first letters of the name that it gave itself, as they stand on the phone and on its entries."""
        return self.device[:8]

    @property
    def gaps_said(self) -> str:
        """The gaps in words: 3, 7 to 9."""
        return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in self.gaps)


@dataclass(frozen=True)
class SentEntry:
    """One entry that waits, or was refused, with what was sent. fixed: another entry was sent to replace it."""

    event_id: str
    device: str
    number: int
    kind: str
    who: str
    at: datetime
    received_at: datetime
    payload: dict[str, Any]
    code: str | None = None
    words: str | None = None
    remedy: str | None = None
    fixed: bool = False


def phones(session: Session) -> tuple[Phone, ...]:
    """Every phone that was ever heard of, the one heard of last first."""
    names = party_names(session)
    contacts: dict[str, list[FieldContact]] = {}
    for contact in session.scalars(select(FieldContact).order_by(FieldContact.id)):
        contacts.setdefault(contact.device, []).append(contact)
    waiting = [row.device for row in waiting_entries(session)]
    found = [_phone(session, rows, names, waiting.count(device)) for device, rows in contacts.items()]
    return tuple(sorted(found, key=lambda phone: phone.last_at, reverse=True))


def _phone(session: Session, contacts: list[FieldContact], names: dict[str, str], waiting: int) -> Phone:
    last, device = contacts[-1], contacts[-1].device
    counted = session.execute(
        select(FieldEntry.number, FieldEntry.clock_doubted).where(FieldEntry.device == device)
    ).all()
    numbers = [number for number, _ in counted]
    told = [contact.unsent for contact in contacts if contact.unsent is not None]
    slow = next((row.slow_ms for row in reversed(contacts) if row.slow_ms is not None), None)
    behind = None if slow is None else timedelta(milliseconds=slow)
    return Phone(
        device=device,
        called=next((row.called for row in reversed(contacts) if row.called), ""),
        by=names.get(last.by, last.by),
        last_at=last.at,
        unsent=told[-1] if told else None,
        entries=len(numbers),
        waiting=waiting,
        gaps=missing(numbers),
        used_twice=used_twice(numbers),
        slow=behind,
        clock=_clock(behind),
        clock_badly_wrong=behind is not None and abs(behind) > BADLY_WRONG,
        doubted=sum(doubted for _, doubted in counted),
    )


def _clock(slow: timedelta | None) -> str:
    if slow is None:
        return "not compared yet"
    if abs(slow) < UNNOTICED:
        return "right"
    return f"{duration_said(abs(slow))} {'slow' if slow > timedelta(0) else 'fast'}"


def waiting_for_others(session: Session) -> tuple[SentEntry, ...]:
    """The entries that hang on another one which is not here, oldest first."""
    names = party_names(session)
    return tuple(_sent(row, None, names) for row in waiting_entries(session))


def refused_entries(session: Session, limit: int = 200) -> tuple[SentEntry, ...]:
    """The entries that were refused, the latest first; those put right by another one say so."""
    names = party_names(session)
    replaced = set(session.scalars(select(FieldEntry.replaces).where(FieldEntry.replaces.is_not(None))))
    wanted = (
        select(FieldEntry, FieldAnswer)
        .join(FieldAnswer, FieldAnswer.event_id == FieldEntry.event_id)
        .where(FieldAnswer.answer == "refused")
        .order_by(FieldAnswer.at.desc(), FieldEntry.number.desc())
        .limit(limit)
    )
    return tuple(
        _sent(row, answer, names, fixed=row.event_id in replaced) for row, answer in session.execute(wanted)
    )


def _sent(
    row: FieldEntry, answer: FieldAnswer | None, names: dict[str, str], *, fixed: bool = False
) -> SentEntry:
    return SentEntry(
        event_id=row.event_id,
        device=row.device,
        number=row.number,
        kind=row.kind,
        who=names.get(row.who, row.who),
        at=row.at,
        received_at=row.received_at,
        payload={name: value for name, value in row.body["payload"].items() if name != "jpeg"},
        code=answer.code if answer else None,
        words=answer.words if answer else None,
        remedy=answer.remedy if answer else None,
        fixed=fixed,
    )
