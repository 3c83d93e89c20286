"""Make a message with a link of its own, and note what became of it.

The message is recorded before it is sent and its fate afterwards, so that a program that is stopped in between leaves
a message of unknown fate, which a person looks at, and never sends one twice.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from tracker.domain.messages import Due
from tracker.domain.sharing import MESSAGE_DAYS
from tracker.steps.share_results import make_link, revoke_link
from tracker.storage.messages import EMAIL, FAILED, Message, MessageFate
from tracker.storage.shares import MESSAGE, ResultLink, link_numbered


def make_message(session: Session, due: Due, by: str, now: datetime) -> tuple[Message, ResultLink, str]:
    """The message, its link, and the link's token, which goes into the message and is kept nowhere."""
    until = now.astimezone().date() + timedelta(days=MESSAGE_DAYS)
    link, token = make_link(
        session,
        due.producer,
        due.lot,
        name=f"e-mail, {due.kind}",
        until=until,
        by=by,
        now=now,
        kind=MESSAGE,
    )
    row = Message(
        producer_id=due.producer,
        sample_id=due.sample,
        link_id=link.id,
        kind=due.kind,
        about=due.about,
        attempt=due.attempt,
        channel=EMAIL,
        address=due.address,
        made_at=now,
    )
    session.add(row)
    session.flush()
    return row, link, token


def note_fate(session: Session, message: Message, fate: str, words: str, by: str, now: datetime) -> None:
    """What became of the message; the link of one that was not sent opens nothing any more."""
    session.add(MessageFate(message_id=message.id, fate=fate, words=words, at=now))
    if fate == FAILED:
        revoke_link(
            session, link_numbered(session, message.link_id), by, now, reason="the message was not sent"
        )
    session.flush()
