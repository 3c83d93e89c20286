"""Take in what phones send: each entry kept as it came, done once, and answered the same way for ever.

An entry's own id makes it one: sent again, by the phone or in a file, it gets its first answer. An entry that hangs
on another one stays here without an answer and is tried again whenever anything new has come.
"""

from __future__ import annotations

import hashlib
import logging
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.exc import IntegrityError, SQLAlchemyError
from sqlalchemy.orm import Session

from tracker.domain.custody import Act, Party
from tracker.domain.field_clock import ON_PAPER, REACH, ClockReading, Corrected, corrected
from tracker.domain.field_entry import ACCEPTED, LATER, REFUSED
from tracker.domain.times import moment, offset_minutes
from tracker.errors import Conflict, TrackerError
from tracker.files.field_entries import Batch, Entry, Unreadable
from tracker.steps.entry_answers import Answer, refusal, told, told_again
from tracker.steps.field_acts import do
from tracker.steps.field_refs import Waits
from tracker.storage.faults import is_passing, is_taken
from tracker.storage.field import FieldAnswer, FieldContact, FieldEntry, waiting_entries
from tracker.storage.kept import keep_refusal
from tracker.storage.people import party

LOG = logging.getLogger("tracker.field")
SENT, FILE = "sent", "file"
# What an earlier entry of the same phone, which waits for somebody else's, may turn into what can be.
_MAY_YET_BE = ("wrong-state", "not-the-holder", "not-the-receiver", "no-open-transfer", "not-stored")
# Too long to be read beside a refusal; it is kept with the entry.
_PICTURE = "jpeg"


def take_entries(
    session: Session, batch: Batch, by: Party, now: datetime, *, via: str = SENT
) -> tuple[Answer, ...]:
    """Keep the contact and each entry, do what can be done, and answer each in the order given.

    by: whose sign-in sent it, or who loaded the file; via: "sent" or "file". No entry keeps another from being
    taken. Raises nothing of the entries' own.
    """
    _keep_contact(session, batch, by, now, via)
    answers = [_take(session, batch, entry, by, now, via) for entry in batch.entries]
    if any(answer.answer == ACCEPTED for answer in answers) and waiting_entries(session):
        done = try_again(session, now)
        answers = [done.get(str(answer.event_id), answer) for answer in answers]
    return tuple(answers)


def try_again(session: Session, now: datetime) -> dict[str, Answer]:
    """Try the entries that wait for another, as long as any of them gets on; the answers by entry."""
    done: dict[str, Answer] = {}
    moved = True
    while moved:
        moved = False
        for row in waiting_entries(session):
            answer = _attempt(session, row, now)
            if answer.answer != LATER:
                done[row.event_id], moved = answer, True
    return done


def keep_pack_taken(
    session: Session, device: str, called: str, unsent: int | None, by: Party, now: datetime
) -> None:
    """Note that a phone took its pack along."""
    contact = FieldContact(
        device=device,
        called=called,
        via="pack",
        sent_at=None,
        slow_ms=None,
        unsent=unsent,
        by=by.key,
        at=now,
    )
    session.add(contact)
    session.flush()


def _keep_contact(session: Session, batch: Batch, by: Party, now: datetime, via: str) -> None:
    slow = int((now - batch.sent_at) / timedelta(milliseconds=1)) if via == SENT else None
    contact = FieldContact(
        device=batch.device,
        called=batch.called,
        via=via,
        sent_at=batch.sent_at.isoformat(),
        slow_ms=slow,
        unsent=batch.unsent,
        by=by.key,
        at=now,
    )
    session.add(contact)
    session.flush()


def _take(
    session: Session, batch: Batch, entry: Entry | Unreadable, by: Party, now: datetime, via: str
) -> Answer:
    if isinstance(entry, Unreadable):
        _keep_refusal(session, by.key, "entry", entry.body, entry.complaint, now)
        return refusal(entry.event_id, entry.complaint, now)
    known = session.get(FieldEntry, entry.event_id)
    if known is None:
        return _attempt(session, _row(batch, entry, by, now, via), now)
    if known.body_hash != entry.body_hash:
        differs = _differs(entry)
        _keep_refusal(session, by.key, entry.kind, entry.body, differs, now)
        return refusal(entry.event_id, differs, now)
    first = session.get(FieldAnswer, entry.event_id)
    return _attempt(session, known, now) if first is None else told_again(known, first)


def _differs(entry: Entry) -> Conflict:
    return Conflict(
        "entry-differs",
        f"The office has another entry with the id {entry.event_id}.",
        field="event_id",
        remedy="Nothing was changed. Show this phone to the lead; enter what is new as an entry of its own.",
    )


def _row(batch: Batch, entry: Entry, by: Party, now: datetime, via: str) -> FieldEntry:
    clock = _clock(batch, entry, now, via)
    replaces = entry.payload.get("replaces")
    return FieldEntry(
        event_id=entry.event_id,
        device=batch.device,
        number=entry.number,
        kind=entry.kind,
        who=entry.who,
        by=by.key,
        device_time=entry.device_time.isoformat(),
        offset_ms=entry.offset_ms,
        clock_jumped=entry.jumped,
        clock_basis=clock.basis,
        clock_slow_ms=None if clock.slow is None else int(clock.slow / timedelta(milliseconds=1)),
        clock_doubted=clock.doubted,
        clock_words=clock.words,
        occurred_at=clock.at,
        occurred_offset=offset_minutes(clock.at),
        received_at=now,
        source=entry.source,
        via=via,
        paper=entry.paper,
        replaces=str(replaces).lower() if isinstance(replaces, str) else None,
        body_hash=entry.body_hash,
        body=entry.body,
    )


def _clock(batch: Batch, entry: Entry, now: datetime, via: str) -> Corrected:
    reading = ClockReading(
        device_time=entry.device_time,
        received=now,
        offset_ms=entry.offset_ms,
        jumped=entry.jumped,
        sent_at=batch.sent_at if via == SENT else None,
        paper_at=moment(entry.paper["at"]) if entry.paper else None,
    )
    return corrected(reading)


def _attempt(session: Session, row: FieldEntry, now: datetime) -> Answer:
    """Do the entry and keep its answer; what hangs on another one, or on a fault of ours, stays without one.

    A row that is not in the season yet is kept first of all in any case; once it is done, without its picture,
    which is a photo of its own by then and may be disposed of as such.
    """
    try:
        with session.begin_nested():
            act = _act(session, row)
            waited = max(now - row.received_at, timedelta(0))
            done = do(session, row.kind, row.body["payload"], act, waited)
    except Waits as waits:
        _keep(session, row)
        return Answer(row.event_id, LATER, row.received_at, words=str(waits))
    except TrackerError as refused:
        _keep(session, row)
        if refused.code in _MAY_YET_BE and _waits_before(session, row):
            words = f"It may be so once an earlier entry of this phone is done. Now: {refused.message}"
            return Answer(row.event_id, LATER, row.received_at, words=words)
        return _refused(session, row, refused, now)
    except SQLAlchemyError as fault:
        if not isinstance(fault, IntegrityError) or not is_taken(fault):
            return _ours(session, row, fault)
        _keep(session, row)
        clash = Conflict(
            "recorded-meanwhile",
            "Something with the same name or number is recorded already.",
            remedy="Look at what is there, then enter it anew if it is still wanted.",
        )
        return _refused(session, row, clash, now)
    except Exception as fault:
        return _ours(session, row, fault)
    _keep(session, row, done=True)
    answer = FieldAnswer(
        event_id=row.event_id,
        answer=ACCEPTED,
        at=now,
        made=done.made.as_data(),
        contested=done.contested,
        notices=[*done.notices, *([row.clock_words] if row.clock_words else [])],
    )
    session.add(answer)
    session.flush()
    return told(row, answer, ACCEPTED)


def _waits_before(session: Session, row: FieldEntry) -> bool:
    """Whether an entry that the phone made earlier still waits for another."""
    return any(one.device == row.device and one.number < row.number for one in waiting_entries(session))


def _keep(session: Session, row: FieldEntry, *, done: bool = False) -> None:
    if row in session:
        return
    payload = row.body["payload"]
    if done and _PICTURE in payload:
        digest = hashlib.sha256(str(payload[_PICTURE]).encode()).hexdigest()
        row.body = {
            **row.body,
            "payload": {**payload, _PICTURE: f"(kept as a photo; its text had SHA-256 {digest})"},
        }
    session.add(row)
    session.flush()


def _ours(session: Session, row: FieldEntry, fault: Exception) -> Answer:
    """A fault of ours with one entry is no reason to lose it, or to keep the others waiting; a busy disk is none."""
    if isinstance(fault, SQLAlchemyError) and is_passing(fault):
        raise fault
    _keep(session, row)
    LOG.error("entry %s (%s) could not be done", row.event_id, row.kind, exc_info=fault)
    words = "The office's program failed on this entry. It is kept there, and is tried again."
    return Answer(row.event_id, LATER, row.received_at, words=words)


def _refused(session: Session, row: FieldEntry, refused: TrackerError, now: datetime) -> Answer:
    answer = FieldAnswer(
        event_id=row.event_id,
        answer=REFUSED,
        at=now,
        code=refused.code,
        words=refused.message,
        field=refused.field,
        remedy=refused.remedy,
        contested=False,
        notices=[],
    )
    session.add(answer)
    _keep_refusal(session, row.who, row.kind, row.body, refused, now)
    session.flush()
    return told(row, answer, REFUSED)


def _act(session: Session, row: FieldEntry) -> Act:
    """Who did it, when by the time that counts, and how it came here. Raises NotFound `unknown-party`."""
    who = party(session, row.who, field="who")
    doubted = row.clock_doubted or row.clock_basis == ON_PAPER
    origin: dict[str, Any] = {
        "device": row.device,
        "device_time": row.device_time,
        "clock": row.clock_words or None,
        "clock_basis": row.clock_basis,
        "paper": row.paper,
        "sent_by": row.by if row.by != row.who else None,
        "from_file": True if row.via == FILE else None,
        "how": row.body.get("how"),
    }
    return Act(
        by=who,
        at=row.at,
        now=row.received_at,
        device=f"phone {row.device[:8]}",
        event_id=row.event_id,
        note=str(row.body["payload"].get("note") or "") if row.kind != "register lot" else "",
        origin={name: value for name, value in origin.items() if value is not None},
        reach=None if doubted else REACH,
    )


def _keep_refusal(
    session: Session, by: str, kind: str, body: Any, refused: TrackerError, now: datetime
) -> None:
    given = body if isinstance(body, dict) else {"entry": body}
    payload = given.get("payload")
    if isinstance(payload, dict) and _PICTURE in payload:
        given = {**given, "payload": {**payload, _PICTURE: "(kept with the entry)"}}
    keep_refusal(session, now, f"phone: {kind}", by, given, refused)
