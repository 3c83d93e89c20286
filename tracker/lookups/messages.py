"""Which messages are due, and which were made for whom."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import fold, that_count
from tracker.domain.hay_standing import NEVER, hay_standing
from tracker.domain.messages import READY, REFUSED, REPLACED, Due
from tracker.storage.coring import Sample, samples_with_lots
from tracker.storage.custody import events_of
from tracker.storage.lots import Field, Lot
from tracker.storage.messages import FAILED, WANTED, Message, MessageChoice, MessageFate, choice_of
from tracker.storage.people import Producer
from tracker.storage.results import ReportVersion

MOST_ATTEMPTS = 3


def messages_due(session: Session) -> tuple[Due, ...]:
    """Every message that somebody who wants them should get now, each once.

    Only what happened since he asked counts: nobody is written to about what he has long held in his hands.
    """
    asked = select(MessageChoice.producer_id).distinct().order_by(MessageChoice.producer_id)
    found: list[Due] = []
    for producer in session.scalars(asked).all():
        choice = choice_of(session, producer)
        if choice is not None and choice.choice == WANTED:
            found += _due_to(session, choice)
    return tuple(found)


def _due_to(session: Session, choice: MessageChoice) -> Iterator[Due]:
    of_him = select(Sample.id).join(Lot).join(Field).where(Field.producer_id == choice.producer_id)
    for sample in samples_with_lots(session, list(session.scalars(of_him.order_by(Sample.id)))):
        made = session.scalars(
            select(Message).where(Message.sample_id == sample.id).order_by(Message.id)
        ).all()
        due = _of_report(session, sample, choice, made) or _of_end(session, sample, choice, made)
        if due is not None:
            yield due


def _of_report(
    session: Session, sample: Sample, choice: MessageChoice, made: Sequence[Message]
) -> Due | None:
    wanted = select(ReportVersion).where(ReportVersion.sample_id == sample.id)
    latest = session.scalar(wanted.order_by(ReportVersion.version.desc()).limit(1))
    if latest is None or latest.issued_at <= choice.at:
        return None
    told = [one for one in made if one.kind in (READY, REPLACED) and not _failed(session, one)]
    return _due(session, sample, choice, made, REPLACED if told else READY, latest.number)


def _of_end(session: Session, sample: Sample, choice: MessageChoice, made: Sequence[Message]) -> Due | None:
    events = that_count(events_of(session, sample.id))
    if not events or max(event.recorded_at for event in events) <= choice.at:
        return None
    reported = any(event.kind == "reported" for event in events)
    standing = fold(events)
    hay = hay_standing(events, standing, reported)
    if hay.kind != NEVER:
        return None
    about = (
        standing.state if standing.state in ("lost", "cancelled", "disposed", "returned") else "turned away"
    )
    return _due(session, sample, choice, made, REFUSED, about, hay.words, hay.to_do)


def _due(
    session: Session,
    sample: Sample,
    choice: MessageChoice,
    made: Sequence[Message],
    kind: str,
    about: str,
    words: str = "",
    to_do: str = "",
) -> Due | None:
    """The message, unless it was made and has not failed, or has failed too often."""
    same = [one for one in made if one.about == about]
    if len(same) >= MOST_ATTEMPTS or any(not _failed(session, one) for one in same):
        return None
    lot = sample.lot
    hay = f"{lot.field.name}, cutting {lot.cutting}, cut {lot.harvested:%B} {lot.harvested.day}, {lot.season}"
    return Due(
        producer=choice.producer_id,
        sample=sample.id,
        lot=lot.id,
        kind=kind,
        about=about,
        attempt=len(same) + 1,
        address=choice.address,
        hay=hay,
        words=words,
        to_do=to_do,
    )


def _failed(session: Session, message: Message) -> bool:
    fate = session.scalar(select(MessageFate.fate).where(MessageFate.message_id == message.id))
    return fate == FAILED


def gets_messages(session: Session, producer: int) -> str | None:
    """The address that messages to this producer go to; None if he gets none."""
    choice = choice_of(session, producer)
    return choice.address if choice is not None and choice.choice == WANTED else None


@dataclass(frozen=True)
class MessageLine:
    """One message in the list. fate: "sent", "failed", or "not known" where the program was stopped meanwhile."""

    number: int
    producer: str
    lot: int
    kind: str
    about: str
    attempt: int
    address: str
    made_at: datetime
    fate: str
    words: str


def messages(session: Session, producer: int | None = None) -> tuple[MessageLine, ...]:
    """Every message that was made, the newest first."""
    wanted = (
        select(Message, Producer.name, Sample.lot_id, MessageFate)
        .join(Producer, Producer.id == Message.producer_id)
        .join(Sample, Sample.id == Message.sample_id)
        .outerjoin(MessageFate, MessageFate.message_id == Message.id)
        .order_by(Message.id.desc())
    )
    if producer is not None:
        wanted = wanted.where(Message.producer_id == producer)
    return tuple(
        MessageLine(
            number=row.id,
            producer=name,
            lot=lot,
            kind=row.kind,
            about=row.about,
            attempt=row.attempt,
            address=row.address,
            made_at=row.made_at,
            fate=fate.fate if fate else "not known",
            words=fate.words if fate else "",
        )
        for row, name, lot, fate in session.execute(wanted)
    )
